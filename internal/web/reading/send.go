package reading

import (
	"errors"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"

	"echotally/internal/docket"
	"echotally/internal/review"
	"echotally/internal/store/decision"
	"echotally/internal/trail"
	"echotally/internal/web/frame"
)

// Bounds of what is sent.
const (
	mostWorksheet = 16 << 20 // bytes, as the command takes
	mostReports   = 100      // files
	faultsTold    = 20       // one by one
)

// sent is what came of a worksheet or reports that were sent.
type sent struct {
	Wrong, Hint string
	Faults      []string
	More        int // faults that are not told
	Saved       int // number of the entry, 0 for none
	Rows, Cases int
}

// received is what a form brought.
type received struct {
	kind      string // worksheet, report
	worksheet []byte
	files     int
	partly    bool
}

// Worksheet sends the rows to be filled in; what was reported is not in it.
func (p *Pages) Worksheet(c *frame.Call) error {
	d, _, err := find(c)
	if err != nil {
		return err
	}
	items, err := p.Items(c.Lab.Desk().Library)
	if err != nil {
		return err
	}
	rows := d.Worksheet(items)
	name := fmt.Sprintf("draw-%d-worksheet", d.Number)
	switch c.R.PathValue("file") {
	case "worksheet.xlsx":
		return c.Send("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", name+".xlsx", func(w io.Writer) error { return review.WriteXLSX(w, rows) })
	case "worksheet.csv":
		return c.Send("text/csv; charset=utf-8", name+".csv", func(w io.Writer) error { return review.WriteCSV(w, rows) })
	}
	return frame.ErrNotFound
}

// Send takes in a worksheet that was filled in elsewhere, or the reader's own reports of
// cases, as second readings of who sends it. Nothing of them is kept but what is entered.
func (p *Pages) Send(c *frame.Call) error {
	d, _, err := find(c)
	if err != nil {
		return err
	}
	person, err := own(c)
	if err != nil {
		return err
	}
	if person == "" {
		return frame.Bad("It is not known which member of staff you are.", "A quality manager says so under People; then send it again.")
	}
	if !p.sending.TryLock() {
		return &frame.Refusal{Status: http.StatusServiceUnavailable, Reason: "Somebody else is sending readings just now.", Hint: "Try again in a minute; nothing was saved."}
	}
	defer p.sending.Unlock()
	dir, err := os.MkdirTemp("", "echotally-reading-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	got, err := receive(c, dir)
	if err != nil {
		return err
	}
	items, err := p.Items(c.Lab.Desk().Library)
	if err != nil {
		return err
	}
	rows, wrong, err := got.rows(c, items, d, dir)
	if err != nil {
		return err
	}
	if wrong != nil {
		return p.one(c, wrong, http.StatusUnprocessableEntity)
	}
	done, err := docket.Enter(c.R.Context(), c.Lab.Ledger, items, d, review.Entry{Reader: person, From: got.kind}, rows, got.partly)
	told := faultsOf(done.Faults)
	switch {
	case errors.Is(err, docket.ErrNothing):
		told.Wrong, told.Hint = "Nothing was saved: no row can stand.", "Fill in the column “value” of rows that you have not entered before."
		return p.one(c, told, http.StatusUnprocessableEntity)
	case errors.Is(err, docket.ErrNotAll):
		told.Wrong, told.Hint = "Nothing was saved: some rows cannot stand.", "Mend them and send the file again, or have the others taken."
		return p.one(c, told, http.StatusUnprocessableEntity)
	case err != nil:
		return err
	}
	c.Did(trail.Create, fmt.Sprintf("second reading, entry %d, from a %s", done.Number, got.kind))
	if len(done.Faults) == 0 {
		return c.Go(pathOf(d.Number) + "?saved=" + strconv.Itoa(done.Number) + "#sent")
	}
	told.saved(done.Number, done.Entry)
	return p.one(c, told, 0)
}

func (s *sent) saved(number int, e review.Entry) {
	s.Saved, s.Rows, s.Cases = number, len(e.Rows), len(docket.ReadCases([]review.Entry{e}, e.Draw))
}

func faultsOf(faults []review.RowFault) *sent {
	out := &sent{More: max(0, len(faults)-faultsTold)}
	for _, f := range faults[:min(faultsTold, len(faults))] {
		out.Faults = append(out.Faults, capital(f.String()))
	}
	return out
}

// justSaved is the entry that an address tells of, nil where who asks has not saved it.
func justSaved(c *frame.Call, d *review.Draw, entries []decision.Said[review.Entry], person string) *sent {
	number, _ := strconv.Atoi(c.R.URL.Query().Get("saved"))
	for _, e := range entries {
		if e.Counts() && e.Place == number && e.Body.Draw == d.Number && e.Body.Reader == person && person != "" {
			out := &sent{}
			out.saved(number, e.Body)
			return out
		}
	}
	return nil
}

// receive takes the form: a worksheet is held, reports go to files of the folder.
func receive(c *frame.Call, dir string) (*received, error) {
	parts, err := c.R.MultipartReader()
	if err != nil {
		return nil, frame.Bad("Nothing was sent.", "Choose a file first.")
	}
	got := &received{}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = got.take(part, dir)
		} else {
			err = errors.Join(io.ErrUnexpectedEOF, err) // whatever is wrong, it is in what was sent
		}
		if err != nil {
			return nil, frame.Unsent(err)
		}
	}
	if got.kind == "" {
		return nil, frame.Bad("Nothing was sent.", "Choose a file first.")
	}
	return got, nil
}

func (g *received) take(part *multipart.Part, dir string) error {
	switch name := part.FormName(); {
	case name == "partly":
		g.partly = true
	case part.FileName() == "":
	case name == "worksheet":
		g.kind = "worksheet"
		var err error
		if g.worksheet, err = io.ReadAll(io.LimitReader(part, mostWorksheet+1)); len(g.worksheet) > mostWorksheet {
			return &frame.Refusal{Status: http.StatusRequestEntityTooLarge, Reason: "A worksheet has at most 16 MiB.", Hint: "Send the file that was downloaded here, filled in; nothing was saved."}
		}
		return err
	case name == "reports":
		g.kind = "report"
		if g.files++; g.files > mostReports {
			return frame.Bad(fmt.Sprintf("More than %d files are too many at a time.", mostReports), "Send fewer; nothing was saved.")
		}
		// The name it was sent under may be a patient's, and is kept nowhere.
		f, err := os.OpenFile(filepath.Join(dir, strconv.Itoa(g.files)), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		if err != nil {
			return errors.New("a file could not be written")
		}
		_, err = io.Copy(f, part)
		return errors.Join(err, f.Close())
	}
	return nil
}

// rows are what was sent, or what is wrong with the whole of it.
func (g *received) rows(c *frame.Call, items *review.Items, d *review.Draw, dir string) ([]review.Row, *sent, error) {
	if g.kind == "worksheet" {
		rows, err := review.ReadSheet(g.worksheet)
		if err != nil {
			return nil, &sent{Wrong: "This is no worksheet: " + err.Error() + ".", Hint: "Send the file that was downloaded here (XLSX or CSV), filled in. Nothing was saved."}, nil
		}
		if len(rows) > 0 && !slices.ContainsFunc(rows, func(r review.Row) bool { return r.Draw == d.Number }) {
			return nil, &sent{Wrong: fmt.Sprintf("This worksheet is not of draw %d.", d.Number), Hint: "Send it on the page of its own draw. Nothing was saved."}, nil
		}
		return rows, nil, nil
	}
	rows, err := docket.ReadReports(c.R.Context(), c.Lab.Ledger, c.Lab.Desk(), items, d, []string{dir})
	if _, refused := errors.AsType[*docket.Refused](err); refused {
		hint := "A second report keeps the Study Instance UID of its case. Nothing was saved."
		if errors.Is(err, docket.ErrReported) {
			hint = "Send the report that you wrote when you read the case again. Nothing was saved."
		}
		return nil, &sent{Wrong: capital(err.Error()) + ".", Hint: hint}, nil
	}
	return rows, nil, err
}
