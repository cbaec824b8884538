package upload

import (
	"io"

	"echotally/internal/run"
	"echotally/internal/writer"
)

// article writes the gap sheet of a study; its patient is not named.
func article(w io.Writer, r *run.Run, s *run.Study) error {
	return writer.Article(w, r, s, writer.Options{})
}
