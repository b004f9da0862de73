package experiment

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"

	"golang.org/x/sync/errgroup"

	"drywire/blocks"
	"drywire/chains/arrange"
	"drywire/chains/board"
	"drywire/chains/measures"
	"drywire/chains/render"
	"drywire/chains/wiring"
	"drywire/dsp"
	"drywire/dsp/section"
)

// Rank is a search over the orders of a chain's blocks: which orders are tried, by what they are
// judged, and what is known of them so far. What an order is worth is a pure function of the chain,
// the recording and the quality, so that a search may be stopped and go on, and be spread over
// machines: the result is the same, byte for byte.
//
// The orders are a tree, and what is before a place in it is rendered once for all that comes
// after: render.Memo.
type Rank struct {
	Chain     *board.Chain
	Recording []float64 // V
	Rate      dsp.Hertz
	Quality   section.Quality
	Part      int // which share, from 1
	Parts     int // of how many

	keep       board.Keep
	objectives []*measures.Measure
	slots      *arrange.Slots
	orders     *orders
	total      int  // how many orders there are; at least so many where countable is false
	countable  bool // all of them
	most       int
	exhaustive bool
	known      map[string][]measures.Figure
	commuting  []bool // of the chain's blocks
}

// RankMemory is how many bytes of signals a search remembers at most, for the recording; for every
// test signal a quarter of it more.
const RankMemory = 512 << 20

// rankSeed is the seed of a random search.
const rankSeed = 1

// NewRank prepares a search. It tries every order where there are no more than most (in a share: in
// this share), else as many as that. The error is of a share that makes no sense, an objective that
// is not known, more than 200 blocks, a name in keep that is not in the order, a keep that no order
// keeps to, or a share of a search that leaves orders out.
func NewRank(c *board.Chain, keep board.Keep, prefer []string, recording []float64, rate dsp.Hertz, q section.Quality, most, part, parts int) (*Rank, error) {
	if !(1 <= part && part <= parts) || most < 1 {
		return nil, fmt.Errorf("part %d of %d, %d orders at most: makes no sense", part, parts, most)
	}
	slots := arrange.SlotsOf(c)
	if len(slots.Names) > 200 {
		return nil, fmt.Errorf("take %q has %d blocks; 200 can be ranked", c.Take, len(slots.Names))
	}
	c = c.At(0)
	r := &Rank{Chain: c, slots: slots, Recording: recording, Rate: rate, Quality: q, Part: part, Parts: parts, keep: keep, most: most, known: map[string][]measures.Figure{}}
	var err error
	if r.objectives, err = objectives(prefer); err != nil {
		return nil, err
	}
	if r.orders, err = newOrders(slots.Names, keep, slots.May); err != nil {
		return nil, fmt.Errorf("take %q: %w", c.Take, err)
	}
	commuting := map[string]bool{}
	for k, free := range render.Commuting(wiring.Of(c, rate, q)) {
		commuting[c.Blocks[k].Name] = free
	}
	for _, name := range slots.Names {
		r.commuting = append(r.commuting, commuting[name])
	}
	r.total, r.countable = r.orders.count()
	if r.countable && r.total == 0 {
		stays := ""
		if at := slices.IndexFunc(c.Every(), func(p board.Placed) bool { return p.Kind.Place == blocks.AfterPower }); at >= 0 {
			stays = fmt.Sprintf(" and leaves %s, the power of an amplifier or its loudspeaker, in its place", c.Every()[at].Name)
		}
		return nil, fmt.Errorf("take %q: no order keeps to all that keep says%s", c.Take, stays)
	}
	r.exhaustive = r.countable && (r.total+parts-1)/parts <= most
	if !r.exhaustive && parts > 1 {
		return nil, fmt.Errorf("take %q has %s orders, which is more than %d in each of %d parts; a search that leaves orders out cannot be shared: more parts, or a higher limit",
			c.Take, r.count(), most, parts)
	}
	return r, nil
}

func (r *Rank) count() string {
	if r.countable {
		return fmt.Sprint(r.total)
	}
	return fmt.Sprintf("more than %d", r.total)
}

// Fingerprint names everything that a result depends on, but for the share: what was found under
// one fingerprint may be put together.
func (r *Rank) Fingerprint() string {
	h := sha256.New()
	c := *r.Chain
	// The number goes up where signals are computed by other arithmetic: 3 is that of rows.
	fmt.Fprintf(h, "rank 3\n%v\n%v\n%v\n%v\n%v\n%v\n", c.Title, c.Take, c.Guitar, c.Load, c.Patch, c.Cables)
	if c.Recording.Load != nil {
		fmt.Fprintf(h, "%v\n", *c.Recording.Load)
	}
	for _, b := range c.Every() {
		fmt.Fprintf(h, "%s %s %s %v %s %s\n", b.Name, b.Kind.Key(), b.Settings, b.Off, b.Power, b.Switcher)
	}
	// Whatever else a chain file may say: what is wired in the end.
	w := render.PlanOf(&c, r.Rate, r.Quality)
	for _, end := range c.Ends() {
		fmt.Fprintf(h, "%x\n", w.Circuit.Key(end))
	}
	for _, s := range w.Stages {
		fmt.Fprintf(h, "%s %s\n", s.Name, s.Key)
	}
	fmt.Fprintf(h, "%v\n%v %v\n", r.keep, float64(r.Rate), r.Quality)
	for _, w := range r.objectives {
		fmt.Fprintf(h, "{%s %s %s %v %s}\n", w.Name, w.Unit, w.Better, w.Step, w.Definition)
	}
	if !r.exhaustive {
		fmt.Fprintf(h, "%d by chance from %d\n", r.most, rankSeed)
	}
	var sample [8]byte
	for _, x := range r.Recording {
		binary.LittleEndian.PutUint64(sample[:], math.Float64bits(x))
		h.Write(sample[:])
	}
	return hex.EncodeToString(h.Sum(nil)[:16])
}

// Objectives is the names of the objectives, in the order of the values.
func (r *Rank) Objectives() []string {
	var names []string
	for _, w := range r.objectives {
		names = append(names, w.Name)
	}
	return names
}

// Know takes what was found before, an order by its blocks' names with the value of every
// objective. It says whether that is an order of this search.
func (r *Rank) Know(names []string, values []measures.Figure) bool {
	if len(names) != len(r.orders.names) || len(values) != len(r.objectives) {
		return false
	}
	var w order
	for _, n := range names {
		i := slices.Index(r.orders.names, n)
		if i < 0 {
			return false
		}
		w = append(w, uint8(i))
	}
	if !r.orders.ok(w) {
		return false
	}
	r.known[string(w)] = values
	return true
}

// share is the orders of this share where all are tried.
func (r *Rank) share() []order {
	return r.orders.slice(r.total*(r.Part-1)/r.Parts, r.total*r.Part/r.Parts)
}

// Left is how many orders are to be rendered still, at most.
func (r *Rank) Left() int {
	if !r.exhaustive {
		return max(0, r.most-len(r.known))
	}
	n := 0
	for _, w := range r.share() {
		if r.known[string(w)] == nil {
			n++
		}
	}
	return n
}

// Run renders and measures what is not known yet. found is called for every order as soon as it is
// known, one after the other, in no particular order. It stops at an error, which is found's or of
// a render.
func (r *Rank) Run(ctx context.Context, found func(names []string, values []measures.Figure) error) error {
	b := newBench(alone(r.Recording, r.Chain), r.Rate, r.Quality, RankMemory, false)
	if r.exhaustive {
		return r.try(ctx, b, r.share(), found)
	}
	return r.search(ctx, b, found)
}

// search tries random orders, then what is one move away from the best that are known, again and
// again.
func (r *Rank) search(ctx context.Context, b *bench, found func([]string, []measures.Figure) error) error {
	rng := rand.New(rand.NewPCG(rankSeed, 0))
	tried := map[string]bool{}
	var all []order
	add := func(list []order, w order) []order {
		if w == nil || tried[string(w)] || len(tried) >= r.most {
			return list
		}
		tried[string(w)] = true
		all = append(all, w)
		return append(list, w)
	}
	base := make(order, len(r.orders.names))
	for k := range base {
		base[k] = uint8(k)
	}
	var next []order
	if r.orders.ok(base) {
		next = add(next, base)
	}
	// a quarter of the budget at random; what has been tried before does not count
	for range r.most {
		if 4*len(tried) >= r.most && len(tried) > 0 {
			break
		}
		next = add(next, r.orders.random(rng))
	}
	for len(next) > 0 {
		slices.SortFunc(next, func(a, b order) int { return slices.Compare(a, b) })
		if err := r.try(ctx, b, next, found); err != nil {
			return err
		}
		if len(tried) >= r.most {
			return nil
		}
		next = nil
		ranked := r.rankAll(all)
		for _, k := range ranked { // best first
			if !k.Pareto {
				continue
			}
			for _, w := range r.orders.neighbours(k.order) {
				next = add(next, w)
			}
		}
	}
	return nil
}

// like is the first order in the alphabet that may well sound the same: blocks next to each other
// that commute are sorted.
func (r *Rank) like(w order) order {
	l := slices.Clone(w)
	for from := 0; from < len(l); {
		to := from
		for to < len(l) && r.commuting[l[to]] {
			to++
		}
		slices.Sort(l[from:to])
		from = to + 1
	}
	return l
}

// try renders a list of orders on all cores, those with the same beginning one after the other:
// what they share is still remembered then. Cores take stretches whose orders have the same
// beginning, or one that may well sound the same.
func (r *Rank) try(ctx context.Context, b *bench, list []order, found func([]string, []measures.Figure) error) error {
	var todo []order
	for _, w := range list {
		if r.known[string(w)] == nil {
			todo = append(todo, w)
		}
	}
	slices.SortFunc(todo, func(a, b order) int { return cmp.Or(slices.Compare(r.like(a), r.like(b)), slices.Compare(a, b)) })
	var mu sync.Mutex
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for _, stretch := range stretches(todo, r.like, 4*runtime.GOMAXPROCS(0)) {
		g.Go(func() error {
			for _, w := range stretch {
				if err := ctx.Err(); err != nil {
					return err
				}
				values, err := b.measure(ctx, r.chainOf(w), r.objectives, false)
				if err != nil {
					return err
				}
				mu.Lock()
				r.known[string(w)] = values
				err = found(r.orders.words(w), values)
				mu.Unlock()
				if err != nil {
					return err
				}
			}
			return nil
		})
	}
	return g.Wait()
}

// stretches cuts a sorted list where the beginning of what an order is like changes: the longest
// stretches of which there are at least so many.
func stretches(list []order, like func(order) order, atLeast int) [][]order {
	if len(list) == 0 {
		return nil
	}
	var cut [][]order
	for depth := 1; depth < len(list[0]); depth++ {
		cut = nil
		from := 0
		for k := 1; k <= len(list); k++ {
			if k == len(list) || !slices.Equal(like(list[k])[:depth], like(list[from])[:depth]) {
				cut = append(cut, list[from:k])
				from = k
			}
		}
		if len(cut) >= atLeast {
			return cut
		}
	}
	if cut == nil {
		return [][]order{list}
	}
	return cut
}

func (r *Rank) chainOf(w order) *board.Chain {
	return r.Chain.Arranged(r.slots.Arrangement(r.orders.words(w)))
}

// Ranking is the result of a search. It is also the JSON object that the command prints.
type Ranking struct {
	Title      string              `json:"title"`
	Take       string              `json:"take"`
	Quality    string              `json:"quality"`
	RateHz     int                 `json:"rate_hz"`
	Seconds    float64             `json:"seconds"` // of the recording
	Objectives []*measures.Measure `json:"wishes"`
	Search     Search              `json:"search"`
	// the order as the take has it; null where it does not keep to what keep says, or was not tried
	Base *Ranked `json:"base"`
	// no other order is better in one objective and no worse in the rest; highest score first
	Pareto []Ranked `json:"pareto"`
	// the first few of these, no two alike in all objectives
	Best   []Ranked `json:"best"`
	Orders []Ranked `json:"orders"` // all that were tried, highest score first
}

// Search is what was tried.
type Search struct {
	Kind string `json:"kind"` // "exhaustive": every order; "budgeted": some
	// that keep to what keep says; null where there are too many to count
	Orders *int   `json:"orders"`
	Tried  int    `json:"tried"`
	Said   string `json:"said"`
}

// Ranked is an order with its worth.
type Ranked struct {
	// of its blocks along the signal, a switcher before what it holds, the left path before the
	// right
	Order  []string          `json:"order"`
	Take   []string          `json:"take"`   // what a take says that has it so
	Values []measures.Figure `json:"values"` // one for each objective, in its unit
	// percent: the share of the tried orders that it is as good as or better than, mean over the
	// objectives
	Score  float64 `json:"score"`
	Pareto bool    `json:"pareto"`

	order order
	worth string // in steps
}

// Alike says that two orders are worth the same in every objective, as far as it counts.
func (o Ranked) Alike(other Ranked) bool { return o.worth == other.worth }

// bestFew is how many orders are offered as takes.
const bestFew = 3

// rankAll judges some orders whose values are known, best first.
func (r *Rank) rankAll(list []order) []Ranked {
	ranked := make([]Ranked, len(list))
	// values in steps; what cannot be measured is worse than anything
	steps := make([][]float64, len(list))
	for k, w := range list {
		values := r.known[string(w)]
		ranked[k] = Ranked{Order: r.orders.words(w), Take: r.Chain.Keys(r.slots.Arrangement(r.orders.words(w))), Values: values, order: w, Pareto: true}
		for i, v := range values {
			s := math.Inf(-1)
			if v.OK() {
				s = math.Round(v.Value / r.objectives[i].Step)
			}
			steps[k] = append(steps[k], s)
		}
	}
	for i := range r.objectives {
		column := make([]float64, len(list))
		for k := range list {
			column[k] = steps[k][i]
		}
		slices.Sort(column)
		for k := range list {
			above, _ := slices.BinarySearch(column, math.Nextafter(steps[k][i], math.Inf(1)))
			if math.IsInf(steps[k][i], -1) {
				continue
			}
			ranked[k].Score += 100 * float64(above) / float64(len(list)) / float64(len(r.objectives))
		}
	}
	// Orders alike in all objectives are judged once.
	var kinds [][]float64
	of := map[string][]int{}
	for k, s := range steps {
		key := fmt.Sprint(s)
		if of[key] == nil {
			kinds = append(kinds, s)
		}
		of[key] = append(of[key], k)
	}
	for _, a := range kinds {
		if slices.ContainsFunc(kinds, func(b []float64) bool { return dominates(b, a) }) {
			for _, k := range of[fmt.Sprint(a)] {
				ranked[k].Pareto = false
			}
		}
	}
	slices.SortFunc(ranked, func(a, b Ranked) int { return cmp.Or(cmp.Compare(b.Score, a.Score), slices.Compare(a.order, b.order)) })
	return ranked
}

// dominates says that a is better than b in one wish and no worse in the others.
func dominates(a, b []float64) bool {
	better := false
	for i := range a {
		if a[i] < b[i] {
			return false
		}
		better = better || a[i] > b[i]
	}
	return better
}

// Missing is orders of the whole search that are not known, the first few, and how many there are.
func (r *Rank) Missing() (first []string, n int) {
	if !r.exhaustive {
		return nil, r.Left()
	}
	r.orders.walk(mostPlaces, func(w order) bool {
		if r.known[string(w)] == nil {
			if n++; n <= 3 {
				first = append(first, strings.Join(r.orders.words(w), ", "))
			}
		}
		return true
	})
	return first, n
}

// Result judges all that is known.
func (r *Rank) Result() *Ranking {
	var list []order
	for w := range r.known {
		list = append(list, order(w))
	}
	slices.SortFunc(list, func(a, b order) int { return slices.Compare(a, b) })
	res := &Ranking{
		Title: r.Chain.Title, Take: r.Chain.Take, Objectives: r.objectives, Quality: r.Quality.Name, RateHz: int(r.Rate), Seconds: float64(len(r.Recording)) / float64(r.Rate),
		Search: Search{Kind: "exhaustive", Tried: len(list)}, Pareto: []Ranked{}, Best: []Ranked{}, Orders: r.rankAll(list),
	}
	if r.countable {
		res.Search.Orders = &r.total
	}
	switch {
	case !r.exhaustive:
		res.Search.Kind = "budgeted"
		res.Search.Said = fmt.Sprintf("There are %s orders; %d of them were tried: a quarter by chance, then what is one move away from the best so far. "+
			"There may be better ones.", r.count(), len(list))
	case r.Parts > 1:
		res.Search.Said = fmt.Sprintf("Part %d of %d: %d of %d orders.", r.Part, r.Parts, len(list), r.total)
	case r.total == 1:
		res.Search.Said = "There is one order, and it was tried."
	default:
		res.Search.Said = fmt.Sprintf("All %d orders were tried.", r.total)
	}
	alike := map[string]bool{}
	for k := range res.Orders {
		o := &res.Orders[k]
		o.worth = r.inSteps(*o)
		if slices.Equal(o.Order, r.orders.names) {
			res.Base = o
		}
		if !o.Pareto {
			continue
		}
		res.Pareto = append(res.Pareto, *o)
		if !alike[o.worth] && len(res.Best) < bestFew {
			alike[o.worth] = true
			res.Best = append(res.Best, *o)
		}
	}
	return res
}

// inSteps is an order's worth as far as it counts.
func (r *Rank) inSteps(o Ranked) string {
	var b strings.Builder
	for i, v := range o.Values {
		if v.OK() {
			fmt.Fprintf(&b, "%.0f ", math.Round(v.Value/r.objectives[i].Step)+0)
		} else {
			b.WriteString("- ")
		}
	}
	return b.String()
}

// Takes is the best few as takes of a chain file, to be pasted under takes. settings are what the
// ranked take changes, as they are written there. more is further keys, like "preset: verse".
func (res *Ranking) Takes(settings, off []string, more ...string) string {
	var b strings.Builder
	for k, o := range res.Best {
		fmt.Fprintf(&b, "  - name: rank %d\n", k+1)
		for _, key := range slices.Concat(o.Take, more) {
			fmt.Fprintf(&b, "    %s\n", key)
		}
		if len(settings) > 0 {
			fmt.Fprintf(&b, "    set: {%s}\n", strings.Join(settings, ", "))
		}
		if len(off) > 0 {
			fmt.Fprintf(&b, "    off: [%s]\n", strings.Join(off, ", "))
		}
	}
	return b.String()
}
