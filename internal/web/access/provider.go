package access

// Provider is another system that signs people in.
type Provider struct{ name string }

// Name is what the page calls it, "" for none.
func (p *Provider) Name() string {
	if p == nil {
		return ""
	}
	return p.name
}
