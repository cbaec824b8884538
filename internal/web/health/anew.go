package health

import (
	"context"

	"echotally/internal/desk"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// standing are the studies that stand as other rules judged them than those in force.
type standing struct {
	desk.AnewState
	Left int
}

// judgeAnew is what judges the recorded studies of a lab anew.
func (p *Pages) judgeAnew(lab *frame.Lab) *desk.Anew {
	p.lock.Lock()
	defer p.lock.Unlock()
	if p.anew == nil {
		p.anew = map[*frame.Lab]*desk.Anew{}
	}
	if p.anew[lab] == nil {
		p.anew[lab] = &desk.Anew{InForce: lab.Work, Ledger: lab.Ledger}
	}
	return p.anew[lab]
}

func (p *Pages) standing(ctx context.Context, lab *frame.Lab) (standing, error) {
	left, err := lab.Unjudged(ctx)
	return standing{p.judgeAnew(lab).State(), left}, err
}

// Anew has recorded studies judged by the rules in force.
func (p *Pages) Anew(c *frame.Call) error {
	p.judgeAnew(c.Lab).Begin(c.R.Context())
	c.Did(trail.Execute, "recorded studies judged anew: begun")
	return c.Go("/health#rules")
}

// StopAnew has that end after the studies in hand.
func (p *Pages) StopAnew(c *frame.Call) error {
	p.judgeAnew(c.Lab).Stop()
	c.Did(trail.Execute, "recorded studies judged anew: stopped")
	return c.Go("/health#rules")
}

// Close ends what works in the background; ledgers may be closed after it.
func (p *Pages) Close() error {
	p.lock.Lock()
	all := p.anew
	p.anew = nil
	p.lock.Unlock()
	for _, one := range all {
		one.Stop()
	}
	return nil
}
