package paper

// Clean is what is printed of a text.
var Clean = clean
