package concrete

//go:generate go run ./internal/numbers/write
