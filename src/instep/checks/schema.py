"""The published JSON schema of a report. Write it anew: python -m instep.checks.schema > docs/proof.schema.json"""

from __future__ import annotations

import json
from typing import Any

from pydantic import TypeAdapter

from instep.checks.model import REPORT_VERSION, Report


def report_schema() -> dict[str, Any]:
    """JSON Schema (2020-12) of `Report.to_data`, made from the dataclasses themselves."""
    schema = TypeAdapter(Report).json_schema(mode="serialization")
    for table in (schema, *schema["$defs"].values()):
        if table.get("type") == "object":
            table["additionalProperties"] = table.get("additionalProperties", False)
            # Everything is always written, whether or not a dataclass has a default for it.
            table["required"] = list(table["properties"])
            for entry in table["properties"].values():
                entry.pop("default", None)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "x-version": REPORT_VERSION}


def schema_text() -> str:
    """The schema as it is published."""
    return json.dumps(report_schema(), indent=2, sort_keys=True) + "\n"


if __name__ == "__main__":
    print(schema_text(), end="")
