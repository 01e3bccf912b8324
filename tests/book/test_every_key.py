"""Every key of the format is used by a sample, and the schema has every key and no other."""

from builders.paths import SAMPLES

from pegline.book.reference import book_schema
from pegline.measures.source_tree import Items, Table
from pegline.readers.yaml import parse

#: Every key of format 1, by the part of the book it stands in.
FORMAT = {
    "book": "book unit title place date scale tapes "
    "default_tape default_method surveyor party weather instruments purpose "
    "licence note near pages sketch obstacles "
    "stations lines dimensions arcs angles points kinds features witnesses north control sheet limits",
    "tape": "material length class true_length standard_temperature "
    "standard_pull mass section modulus expansion accuracy",
    "true_length": "from value accuracy",
    "default_tape": "lines offsets",
    "station": "mark note left_of right_of sketch",
    "line": "use taped legs tape unit date temperature "
    "pull rise slope rise_accuracy slope_accuracy spans stepped accuracy method "
    "note page details details_back",
    "taped": "reading tape temperature pull rise slope spans stepped date",
    "passage": "past parallel offsets sides angle perpendicular hypotenuse perpendiculars apart method tape note",
    "chain_angle": "along chord",
    "row": "at left right point station produced feature kind girth width "
    "spread height label to method accuracy note page mark_at struck",
    "arc": "point from left_of right_of accuracy note page",
    "feature": "kind at through ring curve closed rectangle "
    "taped_round circle parallel corners thickness face girth width "
    "spread height label note page data",
    "rectangle": "edge left right",
    "taped_round": "edge walls",
    "circle": "centre radius girth through",
    "parallel": "to left right from until",
    "named_point": "meet sketch note",
    "sketch_page": "unit top",
    "own_kind": "geometry layer",
    "witness": "distance to note",
    "north": "from bearings declination accuracy",
    "control": "crs ground_height allow_shift epoch points",
    "control_point": "easting northing westing southing latitude longitude crs accuracy",
    "near": "latitude longitude",
    "accuracy": "fixed per_length",
    "reading": "either",
    "sheet": "paper orientation prepared_for prepared_by checked_by number revision revisions boundary_figures areas",
    "revision": "revision date note",
    "area_unit": "name square_metres",
    "limits": "offset oblique angle check unnoticed significance silence",
}
#: Longer forms that the reader takes as well, where a plain value is what a book writes.
LONG_FORMS = {
    "dimension": "taped accuracy note page",
    "station_angle": "angle accuracy note page",
    "arm": "taped",
    "bearings": "bearing",
}


def keys_of(schema):
    """Return the keys of one schema, those of its alternatives too."""
    found = set(schema.get("properties", {}))
    for choice in schema.get("anyOf", []):
        found |= keys_of(choice)
    return found


def test_the_schema_has_every_key_and_no_other():
    schema = book_schema()
    found = {name: keys for name, part in schema["$defs"].items() if (keys := keys_of(part))} | {
        "book": keys_of(schema)
    }

    assert found == {name: set(words.split()) for name, words in (FORMAT | LONG_FORMS).items()}


def keys_used(written, schema, name, definitions, found):
    """Collect ``part.key`` for every key that a book uses, walking its schema along."""
    if "$ref" in schema:
        name = schema["$ref"].rsplit("/", 1)[1]
        keys_used(written, definitions[name], name, definitions, found)
    for choice in schema.get("anyOf", []):
        keys_used(written, choice, name, definitions, found)
    if isinstance(written, Items) and "items" in schema:
        for item in written.items:
            keys_used(item, schema["items"], name, definitions, found)
    if isinstance(written, Table):
        for word, (_, value) in written.entries.items():
            if word in schema.get("properties", {}):
                found.add(f"{name}.{word}")
                keys_used(value, schema["properties"][word], name, definitions, found)
            elif isinstance(schema.get("additionalProperties"), dict):
                keys_used(value, schema["additionalProperties"], name, definitions, found)
    return found


def test_every_key_is_used_by_a_sample():
    schema = book_schema()
    found: set[str] = set()
    for path in sorted(SAMPLES.rglob("*.yaml")):
        keys_used(parse(path.read_text(encoding="utf-8"), path.name), schema, "book", schema["$defs"], found)

    missing = sorted({f"{name}.{word}" for name, words in FORMAT.items() for word in words.split()} - found)

    assert missing == []
