// Measures the page that it is run in; the answer is one JSON text.
(() => {
  const out = {Charts: [], Texts: 0, Faint: [], Wide: 0, Outside: [], Small: [], Problems: []};
  const shown = e => e.getClientRects().length > 0 && getComputedStyle(e).visibility !== 'hidden';
  const hidden = e => e.closest('details:not([open]) > :not(summary)') !== null || e.closest('.skip') !== null;
  const say = e => e.tagName.toLowerCase() + (e.id ? '#' + e.id : '') + ': ' + e.textContent.trim().slice(0, 40);

  // Closed tables are measured too: they are opened for as long as this runs.
  const closed = [...document.querySelectorAll('details:not([open])')];
  closed.forEach(d => { d.open = true; });

  for (const svg of document.querySelectorAll('figure > svg')) {
    if (!shown(svg)) continue;
    const figure = svg.parentElement, box = svg.getBoundingClientRect();
    const by = (svg.getAttribute('aria-labelledby') || '').split(/\s+/).map(id => document.getElementById(id));
    out.Charts.push({
      ID: figure.id, Width: box.width, Height: box.height,
      Name: svg.getAttribute('role') === 'img' && by.every(e => e) ? by.map(e => e.textContent).join(' ') : '',
      TableRows: figure.querySelectorAll('table tbody tr').length,
    });
    for (const part of svg.querySelectorAll('*')) { // what is drawn lies in the picture
      if (!part.getBBox || part.tagName === 'g') continue;
      const b = part.getBoundingClientRect();
      if (b.width + b.height > 0 && (b.left < box.left - 9 || b.right > box.right + 9 || b.top < box.top - 3 || b.bottom > box.bottom + 3))
        out.Outside.push(figure.id + ' ' + say(part) + ' ' + [b.left - box.left, b.right - box.right, b.top - box.top, b.bottom - box.bottom].map(Math.round));
    }
    const texts = [...svg.querySelectorAll('text')]; // and no words lie on others
    for (let i = 0; i < texts.length; i++)
      for (let k = i + 1; k < texts.length; k++) {
        const a = texts[i].getBoundingClientRect(), b = texts[k].getBoundingClientRect();
        if (Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1 && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 3)
          out.Problems.push(figure.id + ': "' + texts[i].textContent + '" lies on "' + texts[k].textContent + '"');
      }
  }

  // Contrast: WCAG 2.1, relative luminance of sRGB.
  const rgb = text => { const m = text.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m.slice(0, 3), 1] : m; };
  const light = c => { const f = c.slice(0, 3).map(v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; }); return 0.2126 * f[0] + 0.7152 * f[1] + 0.0722 * f[2]; };
  const ratio = (a, b) => { const [x, y] = [light(a), light(b)].sort((p, q) => q - p); return (x + 0.05) / (y + 0.05); };
  const behind = e => {
    for (let p = e; p; p = p.parentElement) {
      const c = rgb(getComputedStyle(p).backgroundColor);
      if (c[3] === 1) return c;
      if (c[3] > 0) out.Problems.push('a background that is half seen through: ' + say(p));
    }
    return [255, 255, 255, 1];
  };
  // Words in a picture may stand on any shape that is filled below them.
  const fills = e => {
    const svg = e.closest('svg');
    if (!svg || e.tagName !== 'text') return [];
    const b = e.getBoundingClientRect();
    return [...svg.querySelectorAll('path')].filter(p => {
      const f = getComputedStyle(p).fill, r = p.getBoundingClientRect();
      return f !== 'none' && Math.min(b.right, r.right) - Math.max(b.left, r.left) > 2 && Math.min(b.bottom, r.bottom) - Math.max(b.top, r.top) > 4;
    }).map(p => rgb(getComputedStyle(p).fill));
  };
  const colours = new Set();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let n = walker.nextNode(); n; n = walker.nextNode()) {
    const e = n.parentElement;
    if (!n.data.trim() || !shown(e) || hidden(e) || e.closest('title')) continue;
    const style = getComputedStyle(e), inPicture = e instanceof SVGElement;
    const colour = rgb(inPicture ? style.fill : style.color);
    const scale = inPicture ? e.getScreenCTM().a : 1;
    const size = parseFloat(style.fontSize) * scale;
    colours.add(colour.join());
    out.Texts++;
    if (size < 10.5) out.Small.push(size.toFixed(1) + ' px ' + say(e));
    const least = size >= 24 || size >= 18.66 && parseInt(style.fontWeight) >= 700 ? 3 : 4.5;
    for (const ground of [behind(e), ...fills(e)]) {
      const r = ratio(colour, ground);
      if (r < least) out.Faint.push(r.toFixed(2) + ' ' + say(e));
    }
  }
  out.Colours = colours.size;

  const width = document.documentElement.clientWidth;
  out.Wide = document.documentElement.scrollWidth - width;
  for (const e of document.querySelectorAll('body *')) {
    if (!shown(e) || e.closest('.scroll') !== e && e.closest('.scroll') || e.closest('svg') || e.closest('.skip')) continue;
    const b = e.getBoundingClientRect();
    if (b.right > width + 1 || b.left < -1) out.Outside.push(say(e));
  }

  // Structure, for those who hear the page.
  const p = out.Problems;
  if (!document.documentElement.lang) p.push('no language');
  if (document.querySelectorAll('main').length !== 1 || document.querySelectorAll('h1').length !== 1) p.push('one main and one h1 are needed');
  let level = 0;
  for (const h of document.querySelectorAll('h1,h2,h3,h4')) {
    const l = +h.tagName[1];
    if (l > level + 1) p.push('from a heading of level ' + level + ' to ' + say(h));
    level = l;
  }
  for (const s of document.querySelectorAll('main > section'))
    if (!document.getElementById(s.getAttribute('aria-labelledby'))) p.push('a section without a name: ' + s.id);
  for (const t of document.querySelectorAll('table')) {
    if (!t.caption) p.push('a table without a caption');
    for (const th of t.querySelectorAll('th')) if (!th.scope) p.push('a header without a scope: ' + say(th));
    for (const r of t.tBodies[0].rows) if (r.cells.length !== t.tHead.rows[0].cells.length) p.push('a row with other cells than its header: ' + say(r));
  }
  const ids = [...document.querySelectorAll('[id]')].map(e => e.id);
  if (new Set(ids).size !== ids.length) p.push('an id twice');
  for (const a of document.querySelectorAll('a[href]'))
    if (!a.hash || !document.getElementById(a.hash.slice(1))) p.push('a link to nowhere: ' + a.getAttribute('href'));
  out.Scripts = document.querySelectorAll('script, [onload], [onerror], [onclick]').length;
  closed.forEach(d => { d.open = false; });
  return JSON.stringify(out);
})()
