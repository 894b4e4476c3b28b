"""Decode FIT files with fitdecode, not in its strict mode, for comparison with the program's own reader.

usage: fitdecode_fields.py [--developer NAME] FILE...
Prints, for each file, one JSON line {"file": ..., "records": [...], "stopped": why or null}; a record is
[unix time, latitude, longitude (semicircles), altitude m, speed m/s, distance m, power W, cadence, heart rate,
temperature degC], null where the file has no valid value. Developer fields are left out, but for the one that is
named: its value then ends the record.
"""

import json
import sys
import warnings

import fitdecode

NAMES = [
    ("timestamp",),
    ("position_lat",),
    ("position_long",),
    ("enhanced_altitude", "altitude"),
    ("enhanced_speed", "speed"),
    ("distance",),
    ("power",),
    ("cadence",),
    ("heart_rate",),
    ("temperature",),
]


def value(fields, names):
    for name in names:
        found = fields.get(name)
        if found is not None:
            return found.timestamp() if name == "timestamp" else found
    return None


def native(message):
    """Valid native values by name. A later expansion of a component does not replace a value."""
    fields = {}
    for field in message.fields:
        if field.field_def is not None and field.field_def.is_dev:
            continue
        if field.value is not None:
            fields.setdefault(field.name, field.value)
    return fields


def developer_value(message, name):
    """The value of the developer field of this name, or None."""
    for field in message.fields:
        if field.field_def is not None and field.field_def.is_dev and field.name == name:
            return field.value
    return None


def records(path, developer):
    reader = fitdecode.FitReader(
        path, check_crc=fitdecode.CrcCheck.DISABLED, error_handling=fitdecode.ErrorHandling.IGNORE
    )
    with reader:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA and frame.name == "record":
                fields = native(frame)
                found = [value(fields, names) for names in NAMES]
                yield found + ([developer_value(frame, developer)] if developer else [])


def whole(path, developer):
    """The records before any damage that stops fitdecode."""
    found = []
    try:
        for record in records(path, developer):
            found.append(record)
    except fitdecode.FitError as damage:
        return {"file": path, "records": found, "stopped": str(damage)}
    return {"file": path, "records": found, "stopped": None}


arguments = sys.argv[1:]
developer = None
if arguments[:1] == ["--developer"]:
    developer, arguments = arguments[1], arguments[2:]
for path in arguments:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        print(json.dumps(whole(path, developer)))
