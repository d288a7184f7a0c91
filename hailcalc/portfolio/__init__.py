"""Whole books: many vehicles priced at once, equal to the single path to the cent."""
