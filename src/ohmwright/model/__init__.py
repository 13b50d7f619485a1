"""The nouns: what a procedure, a bench, an event and a result are."""
