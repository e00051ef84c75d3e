#!/usr/bin/env python3
# SPDX-License-Identifier: MIT
"""validate.py SCHEMAS OUTPUTS: holds each OUTPUTS/*.SCHEMA.json against SCHEMAS/SCHEMA.json with python3-jsonschema; files
that begin with "wrong" must not fit. Status 1, with the first errors, if anything is otherwise."""
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
    store = {s["$id"]: s for s in schemas.values()}
    outputs = sorted(glob.glob(os.path.join(sys.argv[2], "*.json")))
    bad = 0
    for path in outputs:
        name = path.split(".")[-2]
        resolver = jsonschema.RefResolver(schemas[name]["$id"], schemas[name], store=store)
        errors = list(jsonschema.Draft202012Validator(schemas[name], resolver=resolver).iter_errors(json.load(open(path))))
        if bool(errors) == os.path.basename(path).startswith("wrong"):
            continue
        bad += 1
        print("FAILED:", os.path.basename(path), "fits" if not errors else "")
        for e in errors[:5]:
            print(f"  {name}: at /{'/'.join(map(str, e.absolute_path))}: {e.message[:300]}")
    print(len(schemas), "schemas are schemas;", len(outputs), "outputs held against them")
    return 1 if bad or not outputs else 0


sys.exit(main())
