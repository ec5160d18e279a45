package stats

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 8.2.1.5:
// 20 units, six failures, the rest taken off earlier or running at 200 hours.
func TestKaplanMeierOfTheHandbook(t *testing.T) {
	var units []Lifetime
	for _, age := range []float64{10, 32, 56, 98, 122, 181} {
		units = append(units, Lifetime{Exit: age, Died: true, Weight: 1})
	}
	for _, age := range []float64{50, 100, 125, 150, 200, 200, 200, 200, 200, 200, 200, 200, 200, 200} {
		units = append(units, Lifetime{Exit: age, Weight: 1})
	}
	s, err := KaplanMeier(units)
	if err != nil {
		t.Fatal(err)
	}
	want := []float64{0.95, 0.90, 0.8471, 0.7941, 0.7374, 0.6704}
	if len(s.Steps) != len(want) {
		t.Fatalf("%d steps", len(s.Steps))
	}
	for i, step := range s.Steps {
		near(t, "survival", step.Survival, want[i], 0.00005)
	}
	if _, ok := s.At(200.5); ok || s.Until != 200 {
		t.Error("survival is claimed beyond the longest age seen")
	}
	if _, ok := s.At(-1); ok {
		t.Error("survival before the start")
	}
	if share, ok := s.At(9); !ok || share != 1 {
		t.Errorf("before the first failure: %v, %v", share, ok)
	}
	if share, ok := s.At(200); !ok || math.Abs(share-0.6704) > 0.00005 {
		t.Errorf("at the longest age: %v, %v", share, ok)
	}
	if _, ok := s.Age(0.5); ok {
		t.Error("half are said to have failed")
	}
	if age, ok := s.Age(0.85); !ok || age != 56 {
		t.Errorf("15 %% have failed at %v, %v", age, ok)
	}
}

// Survival and its standard error of the 21 patients on 6-MP in Freireich and
// others, Blood 21 (1963), as textbooks print them (from memory).
func TestGreenwood(t *testing.T) {
	var patients []Lifetime
	for _, week := range []float64{6, 6, 6, 7, 10, 13, 16, 22, 23} {
		patients = append(patients, Lifetime{Exit: week, Died: true, Weight: 1})
	}
	for _, week := range []float64{6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35} {
		patients = append(patients, Lifetime{Exit: week, Weight: 1})
	}
	s, err := KaplanMeier(patients)
	if err != nil {
		t.Fatal(err)
	}
	want := [][3]float64{
		{6, 0.857, 0.0764},
		{7, 0.807, 0.0869},
		{10, 0.753, 0.0963},
		{13, 0.690, 0.1068},
		{16, 0.627, 0.1141},
		{22, 0.538, 0.1282},
		{23, 0.448, 0.1346},
	}
	if len(s.Steps) != len(want) {
		t.Fatalf("%d steps", len(s.Steps))
	}
	for i, step := range s.Steps {
		near(t, "week", step.Age, want[i][0], 0)
		near(t, "survival", step.Survival, want[i][1], 0.0005)
		near(t, "standard error", math.Sqrt(step.Variance), want[i][2], 0.00005)
	}
	interval, ok := s.Interval(10, 0.95)
	if !ok || !interval.Contains(0.753) || interval.Low < 0 || interval.High > 1 {
		t.Errorf("interval %+v, %v", interval, ok)
	}
	if _, ok := s.Interval(3, 0.95); ok {
		t.Error("an interval before the first death")
	}
}

// Entered at 2, 5: what died before was never seen.
func TestLateEntry(t *testing.T) {
	s, err := KaplanMeier([]Lifetime{
		{Enter: 2, Exit: 4, Died: true, Weight: 1},
		{Enter: 2, Exit: 8, Weight: 1},
		{Enter: 3, Exit: 6, Died: true, Weight: 1},
		{Enter: 5, Exit: 6, Weight: 1},
		{Enter: 6, Exit: 9, Weight: 1}, // not yet watched when one died at 6
		{Enter: 20, Exit: 30, Died: true, Weight: 1},
	})
	if err != nil {
		t.Fatal(err)
	}
	if s.From != 2 || s.Until != 9 || len(s.Steps) != 2 {
		t.Fatalf("%+v: nothing was watched before 2 and from 9 to 20", s)
	}
	near(t, "at risk at 4", s.Steps[0].AtRisk, 3, 0)
	near(t, "at risk at 6", s.Steps[1].AtRisk, 3, 0)
	near(t, "survival", s.Steps[1].Survival, 4.0/9, 1e-15)
	if _, ok := s.At(1); ok {
		t.Error("an age that nobody was watched at")
	}
	if _, ok := s.At(25); ok {
		t.Error("an age beyond a gap")
	}
}

func TestKaplanMeierRefuses(t *testing.T) {
	for name, lifetimes := range map[string][]Lifetime{
		"none":            nil,
		"no time":         {{Enter: 3, Exit: 3, Weight: 1}},
		"backwards":       {{Enter: 3, Exit: 2, Weight: 1}},
		"no weight":       {{Exit: 1}},
		"negative weight": {{Exit: 1, Weight: -1}},
		"negative age":    {{Enter: -1, Exit: 1, Weight: 1}},
		"NaN":             {{Exit: math.NaN(), Weight: 1}},
		"infinite":        {{Exit: math.Inf(1), Weight: 1}},
	} {
		if s, err := KaplanMeier(lifetimes); err == nil {
			t.Errorf("%s: %+v", name, s)
		}
	}
}

// slowSurvival takes the definition by its word, for every age and every life,
// in exact fractions.
func slowSurvival(lifetimes []Lifetime, age float64) *big.Rat {
	survival := big.NewRat(1, 1)
	for t := 1.0; t <= age; t++ {
		died, risk := new(big.Rat), new(big.Rat)
		for _, l := range lifetimes {
			weight := new(big.Rat).SetFloat64(l.Weight)
			if l.Enter < t && t <= l.Exit {
				risk.Add(risk, weight)
			}
			if l.Died && l.Exit == t {
				died.Add(died, weight)
			}
		}
		if died.Sign() > 0 {
			left := new(big.Rat).Sub(risk, died)
			survival.Mul(survival, left.Quo(left, risk))
		}
	}
	return survival
}

func TestKaplanMeierEqualsItsDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		lifetimes := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Lifetime {
			enter := rapid.IntRange(0, 6).Draw(t, "enter")
			return Lifetime{
				Enter:  float64(enter),
				Exit:   float64(enter + rapid.IntRange(1, 10).Draw(t, "watched")),
				Died:   rapid.Bool().Draw(t, "died"),
				Weight: float64(rapid.Int64Range(1, 1<<40).Draw(t, "bytes")),
			}
		}), 1, 25).Draw(t, "lifetimes")
		s, err := KaplanMeier(lifetimes)
		if err != nil {
			t.Fatal(err)
		}
		last := 1.0
		for age := s.From; age <= s.Until; age++ {
			got, ok := s.At(age)
			want, _ := slowSurvival(lifetimes, age).Float64()
			if !ok || math.Abs(got-want) > 1e-9 {
				t.Fatalf("survival to %v is %v, %v; by definition %v", age, got, ok, want)
			}
			if got > last {
				t.Fatalf("survival rises at %v", age)
			}
			last = got
		}
		for _, step := range s.Steps {
			if !(step.Variance >= 0) || step.Effective < 1-1e-9 || step.Effective > float64(len(lifetimes))+1e-9 || step.Died > step.AtRisk {
				t.Fatalf("step %+v of %d lifetimes", step, len(lifetimes))
			}
		}
		// A common factor of all weights changes nothing.
		scaled := make([]Lifetime, len(lifetimes))
		for i, l := range lifetimes {
			l.Weight *= 1024
			scaled[i] = l
		}
		other, err := KaplanMeier(scaled)
		if err != nil {
			t.Fatal(err)
		}
		for i, step := range s.Steps {
			if o := other.Steps[i]; o.Survival != step.Survival || o.Variance != step.Variance {
				t.Fatalf("with heavier weights %+v, before %+v", o, step)
			}
		}
	})
}
