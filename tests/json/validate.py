#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""validate.py SCHEMAS NAME < object: holds one JSON text against SCHEMAS/NAME.json with python3-jsonschema.
Status 1 with the first errors if it does not fit.  validate.py SCHEMAS checks the schemas themselves."""
import glob
import json
import os
import sys

import jsonschema


def main():
    folder = sys.argv[1]
    schemas = {os.path.basename(p)[:-5]: json.load(open(p)) for p in glob.glob(os.path.join(folder, "*.json"))}
    for schema in schemas.values():
        jsonschema.Draft202012Validator.check_schema(schema)
    if len(sys.argv) < 3:
        print(len(schemas), "schemas are schemas")
        return 0 if schemas else 1
    schema = schemas[sys.argv[2]]
    store = {s["$id"]: s for s in schemas.values()}
    resolver = jsonschema.RefResolver(schema["$id"], schema, store=store)
    errors = list(jsonschema.Draft202012Validator(schema, resolver=resolver).iter_errors(json.load(sys.stdin)))
    for e in errors[:5]:
        print(f"{sys.argv[2]}: at /{'/'.join(map(str, e.absolute_path))}: {e.message[:300]}")
    return 1 if errors else 0


sys.exit(main())
