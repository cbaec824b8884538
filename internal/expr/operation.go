package expr

// operation is what a step does.
type operation uint8

const (
	literal operation = iota
	input
	negate
	add
	subtract
	multiply
	divide
	power
	not
	and
	or
	choose
	less
	notMore
	more
	notLess
	equal
	unequal
	call // of a formula
	absolute
	squareRoot
	minimum
	maximum
	between
	tier
	tally
)

// operators are the signs and words of rule files.
var operators = map[string]operation{
	"and": and, "&&": and, "or": or, "||": or, "<": less, "<=": notMore, ">": more, ">=": notLess, "==": equal, "!=": unequal,
	"+": add, "-": subtract, "*": multiply, "/": divide, "**": power, "^": power,
}

// function is one that computes on a list of numbers.
type function struct {
	does        operation
	least, most int // arguments
	takes       string
	of          Kind // its arguments
	arguments   string
	gives       string // in rules/README.md
	answer      string
}

var functions = map[string]function{
	"abs":     {absolute, 1, 1, "one number", Number, "x", "the number without its sign", "unit of x"},
	"sqrt":    {squareRoot, 1, 1, "one number", Number, "x", "the square root", "root of the unit of x"},
	"min":     {minimum, 2, 99, "two or more numbers; among the values of one measurand use lowest()", Number, "x, y, …", "the least of several numbers", "unit of x"},
	"max":     {maximum, 2, 99, "two or more numbers; among the values of one measurand use highest()", Number, "x, y, …", "the largest of several numbers", "unit of x"},
	"between": {between, 3, 3, "a number, the low and the high limit", Number, "x, low, high", "x lies between the limits, ends included", "true or false"},
	"tier":    {tier, 2, 99, "a number and the limits it may reach", Number, "x, first, second, …", "how many of the limits x reaches (`>=`)", "count"},
	"tally":   {tally, 2, 99, "two or more conditions", Bool, "this, that, …", "how many of the conditions hold", "count"},
}

// forms are how operations are shown and how tightly they bind.
var forms = [...]struct {
	shown string
	rank  int
}{
	literal: {"", rankAtom}, input: {"", rankAtom}, negate: {"−", rankProduct},
	add: {" + ", rankSum}, subtract: {" − ", rankSum}, multiply: {" × ", rankProduct}, divide: {" / ", rankProduct}, power: {"^", rankPower},
	not: {"not ", rankNot}, and: {" and ", rankAnd}, or: {" or ", rankOr}, choose: {"", rankChoice},
	less: {" < ", rankComparison}, notMore: {" ≤ ", rankComparison}, more: {" > ", rankComparison},
	notLess: {" ≥ ", rankComparison}, equal: {" = ", rankComparison}, unequal: {" ≠ ", rankComparison},
	call: {"", rankSum}, absolute: {"abs", rankCall}, squareRoot: {"sqrt", rankCall}, minimum: {"min", rankCall}, maximum: {"max", rankCall},
	between: {"between", rankCall}, tier: {"tier", rankCall}, tally: {"tally", rankCall},
}

// Ranks of binding, tightest last.
const (
	rankChoice = iota
	rankOr
	rankAnd
	rankNot
	rankComparison
	rankSum
	rankProduct
	rankPower
	rankCall
	rankAtom
)
