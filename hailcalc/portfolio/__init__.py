"""Whole books: many vehicles priced at once, equal to the single path to the cent.

`price_book` is all of it for a table in memory; `files` reads and writes books that are larger,
`cluster` spreads them over several processes or machines.
"""

from hailcalc.portfolio.book import PricedBook, price_book
from hailcalc.portfolio.reading import Aside

__all__ = ["Aside", "PricedBook", "price_book"]
