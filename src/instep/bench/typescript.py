"""Writes the page's types from `bench/messages.py`: ``python -m instep.bench.typescript FILE [--check]``.

Each message becomes an interface; what it says about the size of a number or a list stays with the server, which
checks it.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any, Final

from pydantic import TypeAdapter
from pydantic.json_schema import models_json_schema

from instep.bench import messages
from instep.formats.whole import write_whole

HEAD: Final = (
    "// Written from src/instep/bench/messages.py by instep.bench.typescript. Do not edit: write it again instead.\n"
)

UNIONS: Final[dict[str, TypeAdapter[Any]]] = {"Ask": messages.ASK, "Told": messages.TOLD}


def write_typescript() -> str:
    """The text of the page's `messages.ts`."""
    models = [
        model
        for model in vars(messages).values()
        if isinstance(model, type) and issubclass(model, messages.Message) and model is not messages.Message
    ]
    _, schema = models_json_schema([(model, "serialization") for model in models])
    parts = [HEAD]
    for name, definition in sorted(schema["$defs"].items()):
        parts.append(_interface(name, definition))
    for name, adapter in UNIONS.items():
        kinds = adapter.json_schema()["discriminator"]["mapping"].values()
        members = " | ".join(sorted(_named(kind) for kind in kinds))
        parts.append(f"export type {name} = {members};\n")
    return "\n".join(parts)


def _interface(name: str, definition: dict[str, Any]) -> str:
    lines = []
    if "description" in definition:
        lines.append(f"/** {' '.join(definition['description'].split())} */")
    lines.append(f"export interface {name} {{")
    for field, schema in definition["properties"].items():
        lines.append(f"  {field}: {_type(schema)};")
    return "\n".join([*lines, "}", ""])


def _type(schema: dict[str, Any]) -> str:
    if "$ref" in schema:
        return _named(schema["$ref"])
    if "const" in schema:
        return _literal(schema["const"])
    if "enum" in schema:
        return " | ".join(_literal(value) for value in schema["enum"])
    if "anyOf" in schema:
        return " | ".join(_type(option) for option in schema["anyOf"])
    kind = schema["type"]
    if kind == "array":
        if "prefixItems" in schema:
            return "[" + ", ".join(_type(item) for item in schema["prefixItems"]) + "]"
        inner = _type(schema["items"])
        return f"({inner})[]" if " " in inner and not inner.startswith("[") else f"{inner}[]"
    if kind == "object":
        return f"Record<string, {_type(schema['additionalProperties'])}>"
    return {"string": "string", "number": "number", "integer": "number", "boolean": "boolean", "null": "null"}[kind]


def _named(reference: str) -> str:
    return reference.rpartition("/")[2]


def _literal(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def main(arguments: list[str]) -> int:
    """Write the file, or with --check say whether it is as it would be written; returns the exit status."""
    paths = [argument for argument in arguments if argument != "--check"]
    if len(paths) != 1:
        print("Usage: python -m instep.bench.typescript FILE [--check]", file=sys.stderr)
        return 2
    path, text = Path(paths[0]), write_typescript()
    if "--check" not in arguments:
        write_whole(path, text.encode())
        return 0
    if path.is_file() and path.read_text(encoding="utf-8") == text:
        return 0
    print(f"{path} is not what the messages say. Run: python -m instep.bench.typescript {path}", file=sys.stderr)
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
