"""Reads ultrasound image headers with pydicom, one JSON object per file and line.

Shares nothing with the reader it is compared with: the formulas are written out again from PS3.3 C.8.5.5.
"""
import json
import sys

import pydicom

EXPECTED = {1: (3, 3), 2: (4, 3), 3: (4, 7)}


def first(dataset, keyword):
    value = dataset.get(keyword)
    return value if value is None or isinstance(value, (int, float)) else value[0] if hasattr(value, "__getitem__") and not isinstance(value, str) else value


def region(item, rows, columns):
    out = {k: int(item.get(k, 0)) for k in (
        "RegionSpatialFormat", "RegionDataType", "RegionFlags", "RegionLocationMinX0", "RegionLocationMinY0", "RegionLocationMaxX1",
        "RegionLocationMaxY1", "PhysicalUnitsXDirection", "PhysicalUnitsYDirection")}
    for k in ("ReferencePixelX0", "ReferencePixelY0"):
        out[k] = None if item.get(k) is None else int(item.get(k))
    for k in ("ReferencePixelPhysicalValueX", "ReferencePixelPhysicalValueY", "PhysicalDeltaX", "PhysicalDeltaY"):
        out[k] = float(item.get(k, 0) or 0)
    inside = (0 <= out["RegionLocationMinX0"] <= out["RegionLocationMaxX1"] <= columns and 0 <= out["RegionLocationMinY0"]
              <= out["RegionLocationMaxY1"] <= rows)
    units = (out["PhysicalUnitsXDirection"], out["PhysicalUnitsYDirection"])
    out["Seconds"] = out["Low"] = out["High"] = None
    if inside and units[0] == 4 and out["PhysicalDeltaX"] and out["RegionSpatialFormat"] in (2, 3, 4):
        out["Seconds"] = (1 + out["RegionLocationMaxX1"] - out["RegionLocationMinX0"]) * abs(out["PhysicalDeltaX"])
    if inside and out["RegionSpatialFormat"] == 3 and units == EXPECTED[3] and out["ReferencePixelY0"] is not None:
        baseline = out["RegionLocationMinY0"] + out["ReferencePixelY0"]
        ends = [out["ReferencePixelPhysicalValueY"] + (y - baseline) * out["PhysicalDeltaY"]
                for y in (out["RegionLocationMinY0"], out["RegionLocationMaxY1"])]
        out["Low"], out["High"] = min(ends), max(ends)
    return out


for name in sys.argv[1:]:
    d = pydicom.dcmread(name, stop_before_pixels=True)
    view = None
    if d.get("ViewCodeSequence"):
        code = d.ViewCodeSequence[0]
        view = [code.get("CodingSchemeDesignator", ""), code.get("CodeValue", "")]
    print(json.dumps({
        "File": name, "SOPInstanceUID": str(d.get("SOPInstanceUID", "")), "Rows": int(d.get("Rows", 0)), "Columns": int(d.get("Columns", 0)),
        "Frames": int(d.get("NumberOfFrames", 1) or 1), "View": view, "ViewName": d.get("ViewName", "") or "", "StageName": d.get("StageName", "") or "",
        "HeartRate": int(d.get("HeartRate", 0) or 0),
        "Regions": [region(item, d.Rows, d.Columns) for item in d.get("SequenceOfUltrasoundRegions", [])],
    }))
