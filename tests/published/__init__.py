"""Checks against the outside world, each with its source named beside it."""
