package casebook

import "echotally/internal/phantom"

// objectFaults are about files: what is damaged, superseded or no report.
func objectFaults() []fault {
	return []fault{
		{
			kind: "object-cut-short", text: "The report's file ends in the middle of the measurements.",
			profile: "healthy-young", dialect: "petrelline", outcome: "partial",
			spoil: func(c *Case, s sender) { c.cut(0.6) },
		},
		{
			kind: "object-damaged", text: "The report's file ends inside its header.",
			profile: "healthy-middle", dialect: "oldbarrow", outcome: "refused",
			spoil: func(c *Case, s sender) { c.Objects[0].Keep = 420 },
		},
		{
			kind: "object-stray", text: "A text file lies among the reports.",
			profile: "healthy-older", dialect: "petrelline", outcome: "ignored",
			spoil: func(c *Case, s sender) {
				c.Objects = append(c.Objects, phantom.Object{Name: "notes.txt", Raw: []byte("Call the ward about the next appointment.\n")})
			},
		},
		{
			kind: "object-twice", text: "The same report was sent twice.",
			profile: "healthy-young", dialect: "gullmere", outcome: "duplicate",
			spoil: func(c *Case, s sender) {
				again := c.Objects[0]
				again.Name = "report-again.dcm"
				c.Objects = append(c.Objects, again)
			},
		},
		{
			kind: "report-superseded", text: "A preliminary report with a wrong ejection fraction was replaced by the final one.",
			profile: "healthy-middle", dialect: "petrelline", outcome: "superseded",
			spoil: func(c *Case, s sender) { c.precede(s) },
		},
	}
}

// cut keeps a part of the first object's file. Its data set is of our own making; a
// test that makes the lab writes the same bytes.
func (c *Case) cut(part float64) {
	b, err := c.Objects[0].Bytes()
	if err != nil {
		panic("internal error: " + err.Error())
	}
	c.Objects[0].Keep = int(part * float64(len(b)))
}

// precede adds a preliminary report before the final one: another instance,
// earlier, whose ejection fraction is wrong.
func (c *Case) precede(s sender) {
	early := s.header
	early.Instance = phantom.Uid(s.header.Instance, "preliminary")
	early.Time, early.Completion, early.Preliminary = "093000", "PARTIAL", "PRELIMINARY"
	wrong := s.record.One("left-ventricular-ejection-fraction-biplane")
	right := wrong.Value()
	wrong.Set(right - 20)
	draft := s.dialect.Document(s.record, early, s.dialect.Write(s.dialect, s.record))
	wrong.Set(right)

	final := s.header
	final.Preliminary, final.Predecessor = "FINAL", early.Instance
	c.Objects = []phantom.Object{
		{Name: "preliminary.dcm", Dataset: draft, Implicit: s.dialect.Implicit},
		{Name: "report.dcm", Dataset: s.dialect.Document(s.record, final, s.root), Implicit: s.dialect.Implicit},
	}
}
