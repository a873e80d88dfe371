package calendar

import "strings"

// words are the texts of a feed in one language; {} is filled in.
type words struct {
	code         string
	calendar     string
	states       map[string]string
	governs      string
	opensNothing string
	gone         string
}

func (w words) fill(s, with string) string { return strings.Replace(s, "{}", with, 1) }

func wordsOf(lang string) words {
	if lang == "es" {
		return spanish
	}
	return english
}

var english = words{
	code:     "EN",
	calendar: "{}: bracing",
	states: map[string]string{
		Expected: "bracing may come off, expected",
		Open:     "bracing may come off, open since {}",
		Shut:     "bracing stays, no time can be given",
		Stripped: "bracing is off",
	},
	governs:      "What governs: {}.",
	opensNothing: "An expected time opens nothing: look at the wall's page before the bracing comes off.",
	gone:         "This time is past, and the window is still shut.",
}

var spanish = words{
	code:     "ES",
	calendar: "{}: puntales",
	states: map[string]string{
		Expected: "se puede desapuntalar, previsto",
		Open:     "se puede desapuntalar, abierto desde {}",
		Shut:     "los puntales se quedan, sin hora que dar",
		Stripped: "desapuntalado",
	},
	governs:      "Lo que rige: {}.",
	opensNothing: "Una hora prevista no abre nada: mira la página del muro antes de quitar los puntales.",
	gone:         "Esta hora ya pasó, y el plazo sigue cerrado.",
}
