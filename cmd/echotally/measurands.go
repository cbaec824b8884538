package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/catalogue"
	"echotally/internal/layout"
	"echotally/internal/measurand"
	"echotally/internal/spelling"
)

func newMeasurandsCommand(a *app) *cobra.Command {
	var format, structure string
	cmd := &cobra.Command{
		Use:   "measurands [WORD...]",
		Short: "List the quantities that rules may ask for",
		Long: `List the measurands that the words lead to, or all: identifier as rules write it,
unit, structure, title, short name, abbreviations, and the codes by which reports
have it, with what must stand beside each. Words begin a word of identifier or name,
are an abbreviation (tapse, RVSP), or a code with or without its scheme.`,
		Example: `  echotally measurands tapse
  echotally measurands aortic root
  echotally measurands 79921-3
  echotally measurands --structure right-ventricle --format json`,
		RunE: func(_ *cobra.Command, words []string) error {
			if format != string(layout.Text) && format != string(layout.JSON) {
				return faults{hinted{fmt.Errorf("unknown format %q", format), "one of text, json"}}
			}
			set, err := a.catalogues()
			if err != nil {
				return err
			}
			list, err := measurandsOf(set.Measurands, strings.Join(words, " "), structure)
			if err != nil {
				return err
			}
			return catalogue.Measurands(a.stdout, set.Measurands, list, layout.Format(format))
		},
	}
	cmd.Flags().StringVarP(&format, "format", "f", string(layout.Text), "text or json")
	cmd.Flags().StringVar(&structure, "structure", "", "only those of this anatomic structure, such as right-ventricle")
	complete(cmd, "format", "text", "json")
	return cmd
}

// measurandsOf are those that words lead to, of one structure when it is given.
func measurandsOf(c *measurand.Catalogue, words, structure string) ([]*measurand.Measurand, error) {
	var structures []string
	for _, m := range c.Measurands {
		structures = append(structures, m.Structure)
	}
	slices.Sort(structures)
	structures = slices.Compact(structures)
	if structure != "" && !slices.Contains(structures, structure) {
		return nil, faults{hinted{fmt.Errorf("no measurand is of structure %q", structure), nearestOf(structure, structures)}}
	}
	list := slices.DeleteFunc(slices.Clone(c.Search(words)), func(m *measurand.Measurand) bool { return structure != "" && m.Structure != structure })
	if len(list) > 0 {
		return list, nil
	}
	var names []string
	for _, m := range c.Measurands {
		names = append(names, m.Identifier, strings.ToLower(m.Short))
	}
	hint := "fewer or other words; echotally measurands lists all"
	if near := spelling.Nearest(strings.ToLower(words), names); near != "" {
		hint = "did you mean " + near + "?"
	}
	return nil, faults{hinted{fmt.Errorf("no measurand is called %q%s", words, map[bool]string{true: " in " + structure}[structure != ""]), hint}}
}

// nearestOf is a hint that names the word that was likely meant, or all.
func nearestOf(word string, all []string) string {
	if near := spelling.Nearest(word, all); near != "" {
		return "did you mean " + near + "?"
	}
	return "one of " + strings.Join(all, ", ")
}
