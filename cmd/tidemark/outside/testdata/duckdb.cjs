// Runs SQL files with DuckDB over logbooks and prints the rows of the queries.
// Standard input: {"modules": folder with node_modules, "logbooks": folder or
// pattern, "first": [files that make tables and views], "queries": [files]}.
// Standard output: {file: [row, …], …}; 64-bit numbers are strings.
const fs = require('node:fs');

async function main() {
  const job = JSON.parse(fs.readFileSync(0, 'utf8'));
  const { DuckDBInstance } = require(require.resolve('@duckdb/node-api', { paths: [job.modules] }));
  const instance = await DuckDBInstance.create(':memory:');
  const db = await instance.connect();
  await db.run(`SET VARIABLE logbooks = '${job.logbooks.replaceAll("'", "''")}'`);
  for (const file of job.first) {
    await db.run(fs.readFileSync(file, 'utf8'));
  }
  const out = {};
  for (const file of job.queries) {
    const reader = await db.runAndReadAll(fs.readFileSync(file, 'utf8'));
    out[file] = reader.getRowObjectsJson();
  }
  process.stdout.write(JSON.stringify(out));
}

main().catch((err) => {
  process.stderr.write(`${err.message ?? err}\n`);
  process.exitCode = 1;
});
