package reading

import (
	"net/url"
	"strconv"
	"strings"

	"echotally/internal/review"
)

// size is the question how many cases are needed, as it was asked.
type size struct {
	Share, Margin, Rate, Clean, Population string
	Asked                                  bool
	Wrong                                  string
	Answers                                []string
}

// sizeOf answers what an address asks; shares are in per cent.
func sizeOf(q url.Values) size {
	s := size{Share: strings.TrimSpace(q.Get("share")), Margin: strings.TrimSpace(q.Get("margin")), Rate: strings.TrimSpace(q.Get("rate")), Clean: strings.TrimSpace(q.Get("clean")), Population: strings.TrimSpace(q.Get("population"))}
	for _, name := range []string{"share", "margin", "rate", "clean", "population"} {
		s.Asked = s.Asked || q.Has(name)
	}
	if !s.Asked {
		s.Share = "90"
		return s
	}
	bad := false
	number := func(text string, over, below float64) float64 {
		if text == "" {
			return 0
		}
		x, err := strconv.ParseFloat(strings.Replace(strings.TrimSuffix(text, "%"), ",", ".", 1), 64)
		bad = bad || err != nil || !(x > over && x < below)
		return x
	}
	whole := func(text string) int {
		x := number(text, 0, 1e7)
		bad = bad || x != float64(int(x))
		return int(x)
	}
	share, margin, rate := number(s.Share, 0, 100)/100, number(s.Margin, 0, 50)/100, number(s.Rate, 0, 100)/100
	clean, population := whole(s.Clean), whole(s.Population)
	switch {
	case bad:
		s.Wrong = "A share or rate lies between 0 and 100 %, a margin between 0 and 50 points, and studies are counted from 1 on."
	case margin > 0 && share == 0:
		s.Wrong = "A margin needs the share that is expected; 50 % asks for most cases."
	case margin == 0 && rate == 0 && clean == 0:
		s.Wrong = "Say a margin, a fault rate, or how many clean cases there were."
	default:
		s.Answers = review.SizeWords(margin > 0, share, margin, rate > 0, rate, clean, population)
	}
	return s
}
