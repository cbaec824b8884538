"""Lists every NUM item of SR files as pydicom reads them, one JSON object a line.

An independent reading for the test beside it: position path, concept name, value
as text, unit, and whether the item is nested under another NUM.
"""
import io
import json
import sys

import pydicom
from pydicom import config

config.settings.reading_validation_mode = config.IGNORE
config.use_DS_decimal = False


def code(dataset, keyword):
    sequence = dataset.get(keyword)
    if not sequence:
        return ["", ""]
    item = sequence[0]
    value = item.get("CodeValue") or item.get("LongCodeValue") or item.get("URNCodeValue") or ""
    return [str(value), str(item.get("CodingSchemeDesignator") or "")]


def number(item):
    """The decimal string as written, and the unit."""
    sequence = item.get("MeasuredValueSequence")
    if not sequence:
        return "", ["", ""]
    measured = sequence[0]
    text = ""
    if "NumericValue" in measured:
        value = measured["NumericValue"].value
        if value is not None and not isinstance(value, (str, float)) and hasattr(value, "__iter__"):
            value = value[0] if len(value) else None
        text = "" if value is None else getattr(value, "original_string", str(value))
    return text.strip(), code(measured, "MeasurementUnitsCodeSequence")


def walk(item, path, nested, out):
    is_num = item.get("ValueType") == "NUM"
    if is_num:
        text, unit = number(item)
        out.append({"item": path, "concept": code(item, "ConceptNameCodeSequence"), "value": text, "unit": unit, "nested": nested})
    for n, child in enumerate(item.get("ContentSequence") or [], 1):
        walk(child, f"{path}.{n}", nested or is_num, out)


for name in sys.argv[1:]:
    try:
        with open(name, "rb") as file:  # from memory: pydicom asks for its place in a file at every element
            dataset = pydicom.dcmread(io.BytesIO(file.read()), force=True)
        items = []
        walk(dataset, "1", False, items)
        answer = {"file": name, "sop": str(dataset.get("SOPClassUID", "")), "items": items}
    except Exception as error:  # a damaged file: there is nothing to compare with
        answer = {"file": name, "error": type(error).__name__}
    print(json.dumps(answer))
