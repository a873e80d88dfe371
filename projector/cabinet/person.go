package cabinet

import (
	"fmt"
	"log/slog"

	"go.etcd.io/bbolt"
)

// Card is who a person is to other people. It hides itself in logs and errors.
type Card struct {
	Name  string `json:"name,omitzero"`
	Mail  string `json:"mail,omitzero"`
	Phone string `json:"phone,omitzero"`
	Lang  string `json:"lang,omitzero"`  // en or es; empty: not said
	Units string `json:"units,omitzero"` // si or us; empty: those of the site
}

// String implements fmt.Stringer; it shows nothing of the card.
func (Card) String() string { return "(card)" }

// GoString implements fmt.GoStringer; it shows nothing of the card.
func (Card) GoString() string { return "(card)" }

// LogValue implements slog.LogValuer; it shows nothing of the card.
func (Card) LogValue() slog.Value { return slog.StringValue("(card)") }

// SetCard keeps a person's card in the place of the one before.
func (c *Cabinet) SetCard(person string, card Card) error {
	err := c.db.Update(func(tx *bbolt.Tx) error {
		return put(tx.Bucket(personBucket), []byte(person), card)
	})
	if err != nil {
		return fmt.Errorf("set card of %s: %w", person, err)
	}
	return nil
}

// Card returns a person's card; an empty one where there is none.
func (c *Cabinet) Card(person string) (card Card, err error) {
	err = c.db.View(func(tx *bbolt.Tx) error {
		key := []byte(person)
		if sealed := tx.Bucket(personBucket).Get(key); sealed != nil {
			card, err = read[Card](key, sealed)
		}
		return err
	})
	if err != nil {
		return Card{}, fmt.Errorf("card of %s: %w", person, err)
	}
	return card, nil
}

// Cards returns all cards by person. One that is damaged does not keep back the
// others: the error names it beside them.
func (c *Cabinet) Cards() (cards map[string]Card, err error) {
	cards = map[string]Card{}
	var bad error
	err = c.db.View(func(tx *bbolt.Tx) error {
		return tx.Bucket(personBucket).ForEach(func(key, sealed []byte) error {
			card, err := read[Card](key, sealed)
			if err != nil {
				bad = fmt.Errorf("card of %q: %w", key, err)
				return nil
			}
			cards[string(key)] = card
			return nil
		})
	})
	if err == nil {
		err = bad
	}
	return cards, err
}
