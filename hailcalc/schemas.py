"""JSON Schemas (2020-12) of a claim file, a matrix file and a claim sheet.

Made from the models that read the files, so that schema and reader cannot drift apart,
and tidied: numbers are JSON numbers with their limits, patterns use only what every
regular-expression dialect knows. A schema says the shape; it accepts everything that is
read and sheets of every claim that is priced. What a shape cannot say (more marked than
counted, cells that fall) only reading says. Money is decimal strings, sizes millimetres.
"""

from __future__ import annotations

from typing import Any, Literal, get_args

from pydantic.json_schema import models_json_schema

from hailcalc.access.rules import Method
from hailcalc.claimfile import Aim, ClaimFile
from hailcalc.fields import COORDINATES_DEPTH, MAX_SHAPE_TEXT
from hailcalc.lines import Kind
from hailcalc.matrix import Matrix
from hailcalc.vehicle import PANELS

SchemaName = Literal["claim", "matrix", "sheet"]
Schema = dict[str, Any]

DIALECT = "https://json-schema.org/draft/2020-12/schema"
BASE = "https://hailcalc.example/schemas/"
"""Identifiers begin with it; `.example` is reserved (RFC 2606), so it is never fetched."""

_ROOTS: dict[SchemaName, tuple[str, str]] = {
    "claim": ("ClaimFile", "hailcalc claim file"),
    "matrix": ("Matrix", "hailcalc difficulty matrix"),
    "sheet": ("ClaimSheet", "hailcalc claim sheet"),
}


def schema(name: SchemaName) -> Schema:
    """The JSON Schema of a claim file, a matrix file (as JSON) or a claim sheet."""
    definitions = file_definitions("#/$defs/")
    root, title = _ROOTS[name]
    body = definitions[root]
    used = _reached(body, definitions)
    head = {"$schema": DIALECT, "$id": BASE + name, "title": title}
    return head | body | {"$defs": {key: definitions[key] for key in definitions if key in used}}


def file_definitions(prefix: str) -> dict[str, Schema]:
    """Schemas of all tables of the files by name; references to others begin with `prefix`."""
    _, made = models_json_schema(
        [(ClaimFile, "validation"), (Matrix, "validation")], ref_template=prefix + "{model}"
    )
    definitions: dict[str, Schema] = {name: portable(body) for name, body in made["$defs"].items()}
    for (table, key), more in _SHARPER.items():
        definitions[table]["properties"][key] |= more
    return definitions | _sheet_definitions(prefix)


def _reached(body: Any, definitions: dict[str, Schema]) -> set[str]:
    """Names of the definitions that a schema refers to, directly or by way of others."""
    reached: set[str] = set()
    waiting = [body]
    while waiting:
        node = waiting.pop()
        if isinstance(node, dict):
            waiting += node.values()
            if isinstance(reference := node.get("$ref"), str):
                name = reference.rpartition("/")[2]
                if name not in reached:
                    reached.add(name)
                    waiting.append(definitions[name])
        elif isinstance(node, list):
            waiting += node
    return reached


# Control characters, line and paragraph separators and the invisible characters of the basic
# plane. Reading refuses the rest of the Unicode category C too; that has no portable notation.
_ONE_LINE = r"^[^\u0000-\u001F\u007F-\u009F\u00AD\u200B-\u200F\u2028-\u202E\u2060-\u206F\uFEFF]*$"
_MONEY = {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9]+)?$"}
_MINUTES = {"type": "string", "pattern": r"^-?[0-9]+(\.[0-9])?$"}
_LIMITS = {
    "ge": "minimum",
    "gt": "exclusiveMinimum",
    "le": "maximum",
    "lt": "exclusiveMaximum",
}

_SHAPE: Schema = {
    "description": "WKT (OGC Simple Features), or a GeoJSON geometry (RFC 7946), in millimetres "
    "on the panel.",
    "anyOf": [
        {"type": "string", "maxLength": MAX_SHAPE_TEXT},
        {
            "type": "object",
            "properties": {
                "type": {"enum": sorted(COORDINATES_DEPTH)},
                "coordinates": {"type": "array"},
            },
            "required": ["type", "coordinates"],
            "additionalProperties": False,
        },
        {"type": "null"},
    ],
    "default": None,
}

_SHARPER: dict[tuple[str, str], Schema] = {
    ("Panel", "outline"): _SHAPE,
    ("Zone", "shape"): _SHAPE,
    ("Vehicle", "vin"): {"pattern": "^[A-HJ-NPR-Z0-9]{17}$"},
    ("MatrixHeader", "currency"): {"pattern": "^[A-Z]{3}$"},
    ("Grid", "rows"): {
        "items": {
            "type": "array",
            "minItems": 1,
            "items": {
                "anyOf": [
                    {"type": "integer", "minimum": 0, "maximum": 10**8},
                    {"type": "string", "maxLength": 15, "pattern": r"^[0-9]+(\.[0-9]+)?$"},
                ]
            },
        }
    },
}
"""What checks in code ask beyond the models' own constraints, by table and key."""


def portable(node: Any) -> Any:
    """A generated schema in plain 2020-12, without the titles that only repeat the keys."""
    if isinstance(node, list):
        return [portable(inner) for inner in node]
    if not isinstance(node, dict):
        return node
    tidy: Schema = {}
    for key, value in node.items():
        if key == "properties":
            tidy[key] = {name: portable(inner) for name, inner in value.items()}
        elif key == "pattern" and r"\p{" in value:
            tidy[key] = _ONE_LINE
        elif key in _LIMITS:
            tidy[_LIMITS[key]] = value
        elif key == "decimal_places":
            # multipleOf would do it, but validators disagree on binary fractions.
            tidy["$comment"] = f"at most {value} decimals"
        elif key in ("default", "enum", "const"):
            tidy[key] = value
        elif key != "title":
            tidy[key] = portable(value)
    if tidy.get("anyOf") == [{"type": "number"}, {"type": "string"}]:
        # Decimals are generated as number or string; the files have numbers only.
        del tidy["anyOf"]
        tidy["type"] = "number"
    return tidy


def _sheet_definitions(prefix: str) -> dict[str, Schema]:
    """What a claim sheet has beyond its claim file and its matrix."""
    panel = {"enum": list(PANELS)}
    count = {"type": "integer", "minimum": 0}
    method = {"enum": list(get_args(Method))}
    known = {"anyOf": [_MINUTES, {"type": "null"}]}
    band = {"type": "array", "items": count, "minItems": 2, "maxItems": 2}
    return {
        "ClaimSheet": _table(
            "A claim priced under a matrix: everything that is needed to recompute every line.",
            {
                "claim_file": {"$ref": prefix + "ClaimFile"},
                "matrix": {"$ref": prefix + "Matrix"},
                "lines": {"type": "array", "items": {"$ref": prefix + "Line"}},
                "totals": {"$ref": prefix + "Totals"},
                "evidence": {"$ref": prefix + "Evidence"},
                "digest": {
                    "description": "SHA-256 over the RFC 8785 canonical form of the rest, the "
                    "signature left out.",
                    "type": "string",
                    "pattern": "^[0-9a-f]{64}$",
                },
                "signature": {
                    "description": "The digest signed by the shop's Ed25519 key: a compact JWS "
                    "(RFC 7515).",
                    "type": "string",
                    "pattern": "^[A-Za-z0-9_-]+[.][A-Za-z0-9_-]+[.][A-Za-z0-9_-]+$",
                },
            },
            optional=["signature"],
        ),
        "Line": _table(
            "One printed line. The panel is null for what belongs to the whole vehicle.",
            {
                "kind": {"enum": list(get_args(Kind))},
                "panel": {"enum": [*PANELS, None]},
                "label": {"type": "string"},
                "amount": {
                    "description": "Decimal string in the matrix's currency; null: not priced.",
                    "anyOf": [_MONEY, {"type": "null"}],
                },
                "because": {"$ref": prefix + "Because"},
            },
        ),
        "Because": _table(
            "The figures that make an amount. The formula's value, rounded half away from zero, "
            "is the amount.",
            {"words": {"type": "string"}, "formula": {"type": "string", "minLength": 1}},
            optional=["formula"],
        ),
        "Totals": _table(
            "Sums of the printed lines; not complete while a panel has no price.",
            dict.fromkeys(("subtotal", "tax", "total", "deductible", "net"), _MONEY)
            | {"complete": {"type": "boolean"}},
        ),
        "Evidence": _table(
            "How the count was made, and what must be said about the estimate.",
            {
                "counts": {"type": "array", "items": {"$ref": prefix + "PanelEvidence"}},
                "not_priced": {"type": "array", "items": panel},
                "near_edges": {"type": "array", "items": {"$ref": prefix + "NearEdge"}},
                "warnings": {"type": "array", "items": {"type": "string"}},
                "removal": {"$ref": prefix + "RemovalEvidence"},
                "plan": {"$ref": prefix + "AccessPlan"},
                "sampled_totals": _table(
                    "Totals with every sampled panel at its lower, and at its upper limit.",
                    {key: {"$ref": prefix + "Totals"} for key in ("lower", "upper")},
                ),
            },
            optional=["removal", "plan", "sampled_totals"],
        ),
        "RemovalEvidence": _table(
            "Operations by id in the order of removal, and of refit, and their minutes in all.",
            {
                "off": {"type": "array", "items": {"type": "string"}, "minItems": 1},
                "refit": {"type": "array", "items": {"type": "string"}, "minItems": 1},
                "minutes": _MINUTES,
            },
        ),
        "AccessPlan": _table(
            "How planned panels are reached, and why; a difference is between whole vehicles. "
            "`gap` is the most by which another plan's total could be lower.",
            {
                "aim": {"enum": list(get_args(Aim))},
                "panels": {"type": "array", "items": {"$ref": prefix + "PlannedPanel"}},
                "minutes": known,
                "against_all_push": {"$ref": prefix + "PlanAgainst"},
                "against_all_glue": {"$ref": prefix + "PlanAgainst"},
                "topped_up": {"type": "boolean"},
                "if_cooler": _table(
                    "What the plan would come to less on panels no hotter than the limit.",
                    {"limit_c": {"type": "string"}, "saves": _MONEY, "saves_minutes": known},
                ),
                "gap": _MONEY,
            },
            optional=["if_cooler"],
        ),
        "PlanChange": _table(
            "What would make another method better, and what that then saves; with "
            "`replace-below` the price below which replacing pays.",
            {
                "kind": {"enum": ["trim-off", "trim-on", "cooler", "replace-below"]},
                "method": method,
                "amount": _MONEY,
                "minutes": _MINUTES,
                "operations": {"type": "array", "items": {"type": "string"}},
                "panels": {"type": "array", "items": panel},
                "words": {"type": "string"},
            },
        ),
        "PlanAgainst": _table(
            "What a plan saves against one method wherever that is open.",
            {
                "saves": _MONEY,
                "saves_minutes": known,
                "anywhere": {"type": "boolean"},
                "except_for": {"type": "array", "items": panel},
            },
        ),
        "PlannedPanel": _table(
            "One planned panel; `own` is the sum of its lines, null: not priced.",
            {
                "panel": panel,
                "method": method,
                "own": {"anyOf": [_MONEY, {"type": "null"}]},
                "minutes": known,
                "glued_dents": count,
                "next_best": {
                    "anyOf": [
                        _table(
                            "The best plan with another method on this panel.",
                            {"method": method, "more": _MONEY, "more_minutes": known},
                        ),
                        {"type": "null"},
                    ]
                },
                "ruled_out": {
                    "type": "array",
                    "items": _table(
                        "A method that was not open, and the rule that shut it.",
                        {"method": method, "rule": {"type": "string"}, "words": {"type": "string"}},
                    ),
                },
                "would_change": {"type": "array", "items": {"$ref": prefix + "PlanChange"}},
                "without_method": _table(
                    "Dents that no method reaches.",
                    {
                        "dents": {"type": "integer", "minimum": 1},
                        "because": {"type": "string"},
                        "waits": {"type": "boolean"},
                        "what_remains": {"type": "array", "items": {"type": "string"}},
                    },
                ),
            },
            optional=["without_method"],
        ),
        "NearEdge": _table(
            "So many dents of a size more (or, negative, fewer) put a count (`of` the panel, or of "
            "a size) into another band; base and total are the panel's then, change that of the "
            "total. Null: beyond the counts that the matrix prices.",
            {
                "panel": panel,
                "dents": {"type": "integer"},
                "size": {"type": "string"},
                "of": {"type": "string"},
                "band": {"anyOf": [band, {"type": "null"}]},
                "base": {"anyOf": [_MONEY, {"type": "null"}]},
                "total": {"anyOf": [_MONEY, {"type": "null"}]},
                "change": {"anyOf": [_MONEY, {"type": "null"}]},
            },
        ),
        "PanelEvidence": _table(
            "How one panel was counted, the band its count falls in, its largest oversize dent.",
            {
                "panel": panel,
                "method": {"enum": ["tally", "single dents", "marks", "sample squares"]},
                "dents": count,
                "band": band,
                "largest_mm": {"type": "number", "exclusiveMinimum": 0},
                "outline": {"enum": ["generic", "the shop's own"]},
                "marked": {"type": "object", "additionalProperties": count},
                "sample": {"$ref": prefix + "SampleEvidence"},
            },
            optional=["band", "largest_mm", "outline", "marked", "sample"],
        ),
        "SampleEvidence": _table(
            "A panel counted in sample squares: counted × area / squares' area, its 95 % limits, "
            "and the panel's price at the estimate and at both limits.",
            {
                "squares": {"type": "integer", "minimum": 1},
                "side_mm": {"type": "number", "exclusiveMinimum": 0},
                "counted": count,
                "per_square": {"type": "array", "items": count, "minItems": 1},
                "area_cm2": count,
                "tally": {"type": "object", "additionalProperties": count},
                "estimate": count,
                "interval": band,
                "level_percent": {"const": 95},
                "method": {"enum": ["Poisson", "between squares"]},
                "counted_limits": {
                    "description": "95 % limits of the dents counted, before scaling.",
                    "type": "array",
                    "items": {"type": "string"},
                    "minItems": 2,
                    "maxItems": 2,
                },
                "dispersion": {"type": ["string", "null"]},
                "because": {"type": "string"},
                "price": _table(
                    "The panel's sum; null: not priced.",
                    {
                        key: {"anyOf": [_MONEY, {"type": "null"}]}
                        for key in ("lower", "estimate", "upper")
                    },
                ),
            },
        ),
    }


def _table(description: str, properties: Schema, optional: list[str] | None = None) -> Schema:
    """A table with these keys and no others."""
    return {
        "description": description,
        "type": "object",
        "properties": properties,
        "required": [key for key in properties if key not in (optional or [])],
        "additionalProperties": False,
    }
