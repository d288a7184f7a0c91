"""Panels, bodies and labels: identifiers are the code's, words are the label tables'."""

from __future__ import annotations

import pytest

from hailcalc.vehicle import BODIES, PANEL_LABELS, PANELS, PANELS_OF_BODY, vin_findings


def test_every_body_has_its_panels_and_every_panel_is_on_some_body() -> None:
    assert set(PANELS_OF_BODY) == set(BODIES)
    assert frozenset().union(*PANELS_OF_BODY.values()) == set(PANELS)


@pytest.mark.parametrize("body", BODIES)
def test_what_is_on_the_left_is_on_the_right_too(body: str) -> None:
    pairs = {"-l": "-r", "-fl": "-fr", "-rl": "-rr"}
    panels = PANELS_OF_BODY[body]
    for panel in panels:
        stem, dash, side = panel.rpartition("-")
        if dash + side in pairs:
            assert stem + pairs[dash + side] in panels


@pytest.mark.parametrize("body", BODIES)
def test_a_body_has_one_kind_of_rear_lid(body: str) -> None:
    assert len(PANELS_OF_BODY[body] & {"decklid", "liftgate", "tailgate"}) == 1


def test_an_open_car_has_no_roof_and_a_pickup_a_bed() -> None:
    assert not PANELS_OF_BODY["convertible"] & {"roof", "rail-l", "rail-r"}
    assert {"bedside-l", "bedside-r", "tailgate"} <= PANELS_OF_BODY["pickup"]
    assert not PANELS_OF_BODY["coupe"] & {"door-rl", "door-rr"}


@pytest.mark.parametrize("table", PANEL_LABELS)
def test_a_label_table_names_every_panel_differently(table: str) -> None:
    labels = PANEL_LABELS[table]
    assert set(labels) == set(PANELS)
    assert len(set(labels.values())) == len(PANELS)


def test_what_the_two_label_tables_call_things() -> None:
    assert (PANEL_LABELS["us"]["hood"], PANEL_LABELS["uk"]["hood"]) == ("Hood", "Bonnet")
    assert PANEL_LABELS["us"]["tailgate"] == PANEL_LABELS["uk"]["liftgate"] == "Tailgate"


@pytest.mark.parametrize("first", "12345")
def test_north_american_numbers_must_have_their_check_digit(first: str) -> None:
    # Sixteen noughts and the first character: its value times 8, modulo 11.
    for digit in "0123456789X":
        error, _ = vin_findings(f"{first}0000000{digit}00000000")
        right = "0123456789X"[int(first) * 8 % 11]
        assert (error is None) == (digit == right)
