"""The invented city as plain files: CSV for blocks and defects, GeoJSON (RFC 7946) for the lines."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Literal

import pandas as pd

from rehab.base import tables


def write_table(table: Literal["blocks", "defects"], frame: pd.DataFrame, file: Path) -> None:
    """The columns that a user fills in as CSV: UTF-8, whole numbers without decimals, yes and no, ISO days."""
    shown = {}
    for item in tables.upload_fields(table):
        values = frame[item.name]
        if item.kind == "whole":
            values = values.astype("Int64")
        elif item.kind == "flag":
            values = values.map({True: "yes", False: "no"}, na_action="ignore")
        elif item.kind == "date":
            values = values.dt.strftime("%Y-%m-%d")
        shown[item.name] = values
    pd.DataFrame(shown).to_csv(file, index=False, float_format="%.10g", encoding="utf-8", lineterminator="\n")


def write_lines(geometry: pd.DataFrame, file: Path) -> None:
    """A feature collection of line strings, longitude before latitude, one feature a line, property block_id."""
    features = []
    for block_id, line in zip(geometry["block_id"], geometry["line"], strict=True):
        places = [[float(number) for number in place.split()] for place in line[line.index("(") + 1: -1].split(",")]
        features.append(json.dumps({"type": "Feature", "properties": {"block_id": block_id},
                                    "geometry": {"type": "LineString", "coordinates": places}}, separators=(",", ":")))
    text = '{"type":"FeatureCollection","features":[\n' + ",\n".join(features) + "\n]}\n"
    file.write_text(text, encoding="utf-8", newline="\n")
