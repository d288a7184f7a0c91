"""The shop's client over a store, as the tests of the API have it."""

from tests.api.conftest import matrices, shop

__all__ = ["matrices", "shop"]
