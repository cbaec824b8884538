package questionnaire

import "echotally/internal/question"

// of leaves out the detail that only some questions take.
func of(answer func(question.Measured) float64) func(question.Measured, string) float64 {
	return func(m question.Measured, _ string) float64 { return answer(m) }
}

func ofAll(answer func(question.Study) float64) func(question.Study, string) float64 {
	return func(s question.Study, _ string) float64 { return answer(s) }
}

const onlyMean = "only a mean is recorded"

func ofStudy() []question.Question {
	return []question.Question{
		{Name: "count_measurands", Guard: question.Always, From: question.AnyValue, OfStudy: ofAll(question.Study.CountMeasurands),
			Words: "{number} quantities measured", Gives: "how many quantities were measured"},
		{Name: "count_z_scores", Guard: question.Always, From: question.AnyValue, OfStudy: ofAll(question.Study.CountZScores),
			Words: "{number} z-score{s} recorded", Gives: "how many z-scores are recorded"},
		{Name: "count_readers", Guard: question.Always, OfStudy: ofAll(question.Study.CountReaders),
			Words: "{number} reader{s} named", Gives: "how many persons are named as having read or verified the study"},
	}
}

func ofMeasured() []question.Question {
	return []question.Question{
		{Name: "present", Truth: true, Guard: question.Always, Tests: true, OfMeasured: of(question.Measured.Present), OfImages: question.Images.Present,
			Words: "{title} present", WordsImages: "an {title}", Gives: "a value of the measurand is there"},
		{Name: "count", Guard: question.Always, OfMeasured: of(question.Measured.Count), OfImages: question.Images.Count,
			Words: "{number} value{s} of {title}", WordsImages: "{number} × “{title}”",
			Gives: "how many values (exact duplicates and derived means not counted)"},
		{Name: "beats", OfMeasured: of(question.Measured.Beats), Unanswered: onlyMean,
			Words: "{number} beat{s} of {title}", Gives: "how many individual beats stand behind it; cannot be told when only a mean is recorded"},
		{Name: "views", Guard: question.Always, OfMeasured: of(question.Measured.Views), OfImages: question.Images.Views,
			Words: "{number} view{s} of {title}", WordsImages: "{number} view{s} of “{title}”", Gives: "how many different image views were noted"},
		{Name: "windows", Guard: question.Always, OfMeasured: of(question.Measured.Windows), OfImages: question.Images.Windows,
			Words: "{number} window{s} of {title}", WordsImages: "{number} window{s} of “{title}”", Gives: "how many different transducer windows were noted"},
		{Name: "noted", Truth: true, Guard: question.Optional, Detail: "imageView", OfMeasured: question.Measured.Noted,
			Words: "{title} noted {detail}", Gives: "every value carries that modifier"},
		{Name: "both_signs", Truth: true, OfMeasured: of(question.Measured.BothSigns), Unanswered: "no value recorded",
			Words: "{title} written with and without a minus", Gives: "within one document some values are written with a minus sign and others without"},
		{Name: "highest", InUnit: true, AsRecorded: true, OfMeasured: of(question.Measured.Highest), Unanswered: onlyMean,
			Words: "highest {title} {value}", Gives: "the highest of the individual values"},
		{Name: "lowest", InUnit: true, AsRecorded: true, OfMeasured: of(question.Measured.Lowest), Unanswered: onlyMean,
			Words: "lowest {title} {value}", Gives: "the lowest of the individual values"},
		{Name: "average", InUnit: true, AsRecorded: true, OfMeasured: of(question.Measured.Average), Unanswered: onlyMean,
			Words: "average {title} {value}", Gives: "the mean of the individual values"},
		{Name: "last", InUnit: true, AsRecorded: true, OfMeasured: of(question.Measured.Last), Unanswered: onlyMean,
			Words: "last {title} {value}", Gives: "the last of the individual values"},
		{Name: "spread", InUnit: true, OfMeasured: of(question.Measured.Spread), Unanswered: "fewer than two single values",
			Words: "spread of {title} {value}", Gives: "the highest less the lowest of the individual values; cannot be told of fewer than two"},
		{Name: "recorded_mean", InUnit: true, AsRecorded: true, OfMeasured: of(question.Measured.RecordedMean), Unanswered: "no mean recorded",
			Words: "recorded mean of {title} {value}", Gives: "the mean the record states"},
		{Name: "repeatability", InUnit: true, Repeatability: true, OfMeasured: of(question.Measured.Repeatability), Unanswered: onlyMean,
			Words: "repeatability of {title} {value}",
			Gives: "the limit two readings should agree within: 2.77 times the published spread of the measurand at the value that counts, half as much again in atrial fibrillation and with a poor image"},
		{Name: "spread_limit", InUnit: true, Repeatability: true, OfMeasured: of(question.Measured.SpreadLimit), Unanswered: "fewer than two single values",
			Words: "limit of the spread of {title} {value}",
			Gives: "the limit the spread should stay within: the repeatability for two values, wider for more of them, 1.2 times for three, 1.4 times for five (95 % quantile of the studentized range)"},
		{Name: "worded", Truth: true, Guard: question.Always, OfMeasured: of(question.Measured.Worded),
			Words: "{title} said in a sentence", Gives: "a sentence of the report says a value of it"},
		{Name: "worded_low", InUnit: true, Guard: question.Optional, OfMeasured: of(question.Measured.WordedLow), Unanswered: "no sentence says a value of it",
			Words: "{title} in words from {value}", Gives: "the value a sentence says, of a range the lower end; of several sentences the lowest"},
		{Name: "worded_high", InUnit: true, Guard: question.Optional, OfMeasured: of(question.Measured.WordedHigh), Unanswered: "no sentence says a value of it",
			Words: "{title} in words up to {value}", Gives: "likewise the upper end, of several sentences the highest"},
		{Name: "software_named", Truth: true, OfMeasured: of(question.Measured.SoftwareNamed), Unanswered: "no value of it is recorded",
			Words: "maker and software of {title} named", Gives: "the object the value stands in names the maker of the device and the version of its software"},
		{Name: "z_score", UnitCode: "1", From: question.AnyValue, OfMeasured: of(question.Measured.ZScore), Unanswered: "no z-score recorded beside it",
			Words: "z-score {value}", Gives: "the z-score recorded beside the value that counts"},
	}
}

func ofSaid() []question.Question {
	return []question.Question{
		{Name: "stated", Truth: true, OfSaid: question.Said.Stated, Unanswered: "neither stated nor excluded",
			Words: "“{title}” stated", Gives: "the report says so; cannot be told when it neither says nor excludes it"},
		{Name: "mentioned", Truth: true, Guard: question.Always, Tests: true, OfSaid: question.Said.Mentioned,
			Words: "“{title}” stated", Gives: "the report says so; false when it does not"},
	}
}

// Names of the questions about the person.
const (
	Age = "age"
	Sex = "sex" // compared with a code, which is its detail
)

func ofSubject() []question.Question {
	return []question.Question{
		{Name: Age, Plain: true, UnitCode: "a", OfStudy: ofAll(question.Study.Age), Unanswered: "not recorded",
			Words: "age {value}", Gives: "of the patient; cannot be told when it is not recorded"},
		{Name: Sex, Plain: true, Truth: true, Detail: "F", OfStudy: question.Study.Sex, Unanswered: "not recorded",
			Words: "sex is {detail}", Gives: "of the patient, compared with `\"M\"`, `\"F\"` or `\"O\"`; cannot be told when it is not recorded"},
	}
}

func ofEarlierStudy() []question.Question {
	return []question.Question{
		{Name: "prior", InUnit: true, From: question.EarlierStudy, OfMeasured: of(question.Measured.Prior),
			Words: "earlier {title} {value}", Gives: "the value of `x` that counts in the earlier study"},
		{Name: "prior_present", Truth: true, Guard: question.Always, From: question.EarlierStudy, OfMeasured: of(question.Measured.PriorPresent),
			Words: "{title} present in the earlier study", Gives: "a value of it is there"},
		{Name: "prior_days", UnitCode: "d", From: question.EarlierStudy, OfStudy: ofAll(question.Study.PriorDays), Unanswered: "not recorded in both studies",
			Words: "{number} day{s} since the earlier study", Gives: "days between the two studies"},
	}
}

// AbnormalSegments is the question that asks how segments move, not for their
// scores.
const AbnormalSegments = "count_abnormal_segments"

func ofWall() []question.Question {
	return []question.Question{
		{Name: "count_segments", Guard: question.Always, From: question.Wall, OfStudy: ofAll(question.Study.CountSegments),
			Words: "{number} segment{s}", Gives: "how many segments of the models of 16, 17 and 18 the report describes, or says were not seen"},
		{Name: "count_regions", Guard: question.Always, From: question.Wall, OfStudy: ofAll(question.Study.CountRegions),
			Words: "{number} region{s}", Gives: "how many larger regions of a projection it describes"},
		{Name: "count_scored_segments", Guard: question.Always, From: question.Wall, OfStudy: ofAll(question.Study.CountScoredSegments),
			Words: "{number} scored segment{s}", Gives: "of how many of the segments the score can be told; 0 when not seen"},
		{Name: AbnormalSegments, From: question.Wall, OfStudy: ofAll(question.Study.CountAbnormalSegments),
			Words: "{number} abnormal segment{s}", Gives: "how many segments and regions are hypokinetic, akinetic or dyskinetic, or score above 1"},
		{Name: "mean_segment_score", UnitCode: "1", From: question.Wall, OfStudy: ofAll(question.Study.MeanSegmentScore),
			Words: "mean segment score {number}", Gives: "mean of all scores but zero"},
		{Name: "adjacent_unseen_segments", Guard: question.Always, From: question.Wall, OfStudy: ofAll(question.Study.AdjacentUnseenSegments),
			Words: "{number} adjacent segment{s} not seen", Gives: "how many segments the largest patch of neighbours has that were not seen"},
	}
}
