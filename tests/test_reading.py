"""Reading text: what is no JSON or TOML, what is absurd, and how a mistake is worded.

Whatever somebody sends, reading ends in values or in an InputError, never in another exception.
"""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable, Iterator
from copy import deepcopy
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hailcalc.claimfile import claim_from_data, read_claim, require_claim
from hailcalc.matrix import matrix_from_data, read_matrix, require_matrix
from hailcalc.problems import InputError, Problem, shown
from hailcalc.reading import MAX_DEPTH, load_json, load_toml
from tests.effort import examples
from tests.strategies import matrices, priced_together


def problems_of(action: Callable[[], object]) -> tuple[Problem, ...]:
    """The reasons why an action refuses what it is given; none if it does not."""
    try:
        action()
    except InputError as error:
        return error.problems
    return ()


def refused(text: str) -> Problem:
    """The one reason why JSON text is refused."""
    with pytest.raises(InputError) as caught:
        load_json(text, "claim.json")
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("", "line 1, column 1"),
        ("{", "line 1, column 2"),
        ('{"a": 1,\n "b": }', "line 2, column 7"),
        ('{"a": 1} x', "line 1, column 10"),
        ("{'a': 1}", "line 1, column 2"),
        ('"a\nb"', "line 1, column 3"),
    ],
)
def test_what_is_no_json_is_named_by_line_and_column(text: str, place: str) -> None:
    problem = refused(text)
    assert (problem.file, problem.place, problem.expected) == (
        "claim.json",
        place,
        "JSON (RFC 8259)",
    )


@pytest.mark.parametrize("text", ["NaN", "Infinity", "-Infinity"])
def test_what_is_no_number_is_refused(text: str) -> None:
    assert refused(f'{{"mm": {text}}}').found == text


def test_a_key_twice_in_one_object_is_refused_and_every_such_key_named() -> None:
    with pytest.raises(InputError) as caught:
        load_json('{"a": 1, "a": 2, "b": {"c": 1, "c": 1}, "d": {"a": 1}}', "claim")
    assert {problem.found for problem in caught.value.problems} == {
        'the key "a" twice in one object',
        'the key "c" twice in one object',
    }


def test_the_same_key_in_different_objects_is_fine() -> None:
    assert load_json('{"a": {"b": 1}, "c": {"b": 2}}', "claim") == {"a": {"b": 1}, "c": {"b": 2}}


@pytest.mark.parametrize(
    "text", ["[" * 100_000, "[" * 41 + "]" * 41, '{"a":' * 41 + "1" + "}" * 41]
)
def test_absurd_nesting_is_refused(text: str) -> None:
    assert refused(text).expected == f"at most {MAX_DEPTH} levels"


def test_nesting_up_to_the_limit_is_read() -> None:
    text = "[" * (MAX_DEPTH - 1) + "]" * (MAX_DEPTH - 1)
    assert json.dumps(load_json(text, "claim")) == text


def test_a_number_of_five_thousand_digits_is_refused() -> None:
    assert "digits" in refused('{"a": ' + "1" * 5000 + "}").found


@pytest.mark.parametrize("exponent", ["99999999999999999999", "-99999999999999999999"])
def test_a_number_with_an_absurd_exponent_is_refused_or_nothing(exponent: str) -> None:
    problems = problems_of(lambda: load_json(f"[1e{exponent}]", "claim"))
    assert problems or exponent.startswith("-")


@pytest.mark.parametrize("text", ['{"\\ud800": 1}', '[{"a": {"b\\udc00": 1}}]'])
def test_half_a_character_is_no_key(text: str) -> None:
    assert refused(text).expected == "valid Unicode text"


def test_decimals_stay_exact() -> None:
    assert load_json("[17.91, 1e2, 3]", "claim") == [Decimal("17.91"), Decimal(100), 3]


# --- TOML -------------------------------------------------------------------------------------


def toml_refused(text: str) -> Problem:
    with pytest.raises(InputError) as caught:
        load_toml(text, "shop.toml")
    return caught.value.problems[0]


@pytest.mark.parametrize(
    ("text", "line"),
    [("a = 1\nb = \n", "line 2"), ("[matrix\n", "line 1"), ("a = 1\na = 2\nb = 3\n", "line 2")],
)
def test_what_is_no_toml_is_named_by_its_line(text: str, line: str) -> None:
    problem = toml_refused(text)
    assert (problem.file, problem.expected) == ("shop.toml", "TOML 1.0")
    assert line in problem.found


def test_a_table_twice_is_no_toml() -> None:
    assert toml_refused("[rates]\na = 1\n[rates]\nb = 2\n").expected == "TOML 1.0"


def test_absurdly_nested_toml_is_refused() -> None:
    assert "nested" in toml_refused("a = " + "[" * 3000 + "]" * 3000).found


def test_a_toml_number_of_five_thousand_digits_is_refused_as_what_it_is() -> None:
    assert "digits" in toml_refused("a = " + "1" * 5000).found


def test_a_long_hexadecimal_number_is_a_mistake_like_any_other() -> None:
    text = "[matrix]\nrevision = 0x" + "f" * 5000
    assert problems_of(lambda: require_matrix(read_matrix(text)))


# --- whatever is sent -------------------------------------------------------------------------

leaves: st.SearchStrategy[Any] = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.decimals()
    | st.text(max_size=6)
    | st.sampled_from(["hood", "push", "dime", "2026-05-19", "84.50", "1.²", "1.٣", "\ud800", "-0"])
    | st.sampled_from([10**4200, Decimal("1e999999999"), Decimal("1e-999999999"), dt.time(12)])
)
anything: st.SearchStrategy[Any] = (
    leaves
    | st.lists(leaves, max_size=3)
    | st.dictionaries(st.text(max_size=3) | st.sampled_from(["mm", "name"]), leaves, max_size=3)
)


def places(value: Any) -> Iterator[tuple[Any, Any]]:
    """Every table or list within some data, with each key or position in it."""
    keys = value if isinstance(value, dict) else range(len(value) if isinstance(value, list) else 0)
    for key in keys:
        yield value, key
        yield from places(value[key])


def spoilt(data: Any, draw: st.DataObject) -> Any:
    """Sound data with one to three values replaced by anything, or with a key too many."""
    data = deepcopy(data)
    for _ in range(draw.draw(st.integers(1, 3))):
        holder, key = draw.draw(st.sampled_from(list(places(data))))
        if isinstance(holder, dict) and draw.draw(st.integers(0, 4)) == 0:
            key = draw.draw(st.text(max_size=4))
        holder[key] = draw.draw(anything)
    return data


@settings(max_examples=examples(400))
@given(priced_together(), st.data())
def test_a_claim_with_anything_in_it_is_sound_or_has_problems(
    pair: tuple[dict[str, Any], dict[str, Any]], draw: st.DataObject
) -> None:
    reading = claim_from_data(spoilt(pair[0], draw))
    assert (reading.claim is None) == bool(reading.problems)
    assert all(str(problem) and problem.pointer is not None for problem in reading.problems)


@settings(max_examples=examples(400))
@given(matrices(), st.data())
def test_a_matrix_with_anything_in_it_is_sound_or_has_problems(
    data: dict[str, Any], draw: st.DataObject
) -> None:
    reading = matrix_from_data(spoilt(data, draw))
    assert (reading.matrix is None) == bool(reading.problems)
    assert all(str(problem) and problem.pointer is not None for problem in reading.problems)


@settings(max_examples=examples(300))
@given(st.text(alphabet='{}[]",:\\ \n0123456789.eE+-truefalsn\ud800é', max_size=30))
def test_scraps_of_json_are_refused_as_a_claim(text: str) -> None:
    assert problems_of(lambda: require_claim(read_claim(text)))


@pytest.mark.parametrize("text", ["[]", '"x"', "null", "3", "true"])
def test_a_claim_that_is_no_object_is_one_mistake(text: str) -> None:
    (problem,) = read_claim(text).problems
    assert problem.expected == "a table of keys and values"


@pytest.mark.parametrize("data", [[], "x", None, 3, True])
def test_a_matrix_that_is_no_table_is_one_mistake(data: Any) -> None:
    (problem,) = matrix_from_data(data).problems
    assert problem.expected == "a table of keys and values"


# --- wording ----------------------------------------------------------------------------------


def test_a_place_is_written_for_people_and_as_a_pointer() -> None:
    problem = Problem("claim.json", ("panels", 2, "tally", "a/b~c"), "3", "2")
    assert problem.place == "panels[2].tally.a/b~c"
    # RFC 6901, section 3: ~ is written ~0 and / is written ~1.
    assert problem.pointer == "/panels/2/tally/a~1b~0c"
    assert str(problem) == "claim.json: panels[2].tally.a/b~c: found 3, expected 2"


def test_a_problem_of_the_whole_file_has_no_place() -> None:
    assert str(Problem("claim.json", (), "nothing", "JSON")) == (
        "claim.json: found nothing, expected JSON"
    )


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("a\nb", '"a\\nb"'),
        ("\x1b[2J", '"\\x1b[2J"'),
        ("\u202e", '"\\u202e"'),
        ("\ud800", '"\\ud800"'),
        (3, "3"),
        ("x" * 100, '"' + "x" * 59 + "… (102 characters)"),
    ],
)
def test_what_was_found_is_shown_on_one_line(value: object, text: str) -> None:
    assert shown(value) == text


@given(st.text())
def test_whatever_is_shown_can_be_printed(text: str) -> None:
    printed = shown(text)
    assert printed.isprintable()
    printed.encode()


@pytest.mark.parametrize("key", ["a\nb", "\x1b[2J", "\u202e"])
def test_a_place_can_be_printed_whatever_the_keys_of_a_file_are(key: str) -> None:
    data = {
        "claim": {"number": "C-1", "date_of_loss": "2026-05-19"},
        "vehicle": {"body": "sedan"},
        "panels": [{"panel": "hood", "tally": {key: "x"}}],
    }
    problems = claim_from_data(data).problems
    assert problems
    assert all(str(problem).isprintable() for problem in problems)
