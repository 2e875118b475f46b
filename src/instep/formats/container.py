"""The outer shell of a glTF file: bytes to JSON and buffers, and back.

Source: glTF 2.0, 3.5 to 3.6 and 4 (the binary container). The JSON is kept as it stands, so that what Instep
does not understand comes back unchanged; key order is kept.
"""

from __future__ import annotations

import base64
import binascii
import json
import struct
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, NoReturn, TypeAlias
from urllib.parse import unquote

import numpy as np
from numpy.typing import NDArray

from instep.errors import FormatError

Json: TypeAlias = dict[str, Any]
Bytes: TypeAlias = NDArray[np.uint8]

LARGEST: Final = 2**31
"""Bytes. A larger file, buffer or array is refused before it is read: a length in a file may be a lie."""

HUGE: Final = 1e18
"""In the file's unit. No transform has a larger number; products of a few stay far from overflow."""

MAGIC: Final = b"glTF"
JSON_CHUNK: Final = 0x4E4F534A
BINARY_CHUNK: Final = 0x004E4942

HARMLESS: Final = ("KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_", "EXT_lights_")
"""Required extensions that begin so change the look alone, never the shape or the motion."""
HONOURED: Final = frozenset({"KHR_mesh_quantization"})
COMPRESSIONS: Final = frozenset({"KHR_draco_mesh_compression", "EXT_meshopt_compression", "KHR_meshopt_compression"})


@dataclass(frozen=True, slots=True, eq=False)
class Document:
    """A file's JSON with access to its buffers.

    Attributes
    ----------
    path : where it was read from; addresses in the file are relative to its folder.
    json : the tree as it stands in the file.
    chunk : the binary chunk of a .glb, which is buffer 0 where that has no address of its own.
    other_chunks : (type, bytes) of chunks that the standard does not define.
    """

    path: Path
    json: Json
    chunk: bytes | None = None
    other_chunks: tuple[tuple[int, bytes], ...] = ()
    _buffers: dict[int, Bytes] = field(default_factory=dict)

    def fail(self, place: str, seen: str, *, expected: str = "", cure: str = "") -> NoReturn:
        """Raise FormatError for a place in this file."""
        where = f"{self.path.name}: {place}" if place else self.path.name
        raise FormatError(seen, where=where, expected=expected, cure=cure)

    def items(self, kind: str) -> list[Json]:
        """All objects of a kind ("nodes", "accessors" and so on)."""
        found = self.json.get(kind, [])
        if not isinstance(found, list) or not all(isinstance(entry, dict) for entry in found):
            self.fail("", f'"{kind}" is not a list of objects', expected="a list of objects")
        return found

    def item(self, kind: str, index: object, place: str) -> Json:
        """Object `index` of a kind; `place` names what refers to it."""
        found = self.items(kind)
        if not isinstance(index, int) or isinstance(index, bool) or not 0 <= index < len(found):
            one = {"accessors": "accessor", "bufferViews": "buffer view", "meshes": "mesh"}.get(kind, kind[:-1])
            there = f"0 to {len(found) - 1}" if found else f"no {one} at all: the file has none"
            self.fail(place, f"it names {one} {index}", expected=there)
        return found[index]

    def whole(self, entry: Json, key: str, place: str, default: int | None = None) -> int:
        """A whole number that is not negative."""
        value = entry.get(key, default)
        if isinstance(value, float) and value.is_integer():  # written by programs that know only floats
            value = int(value)
        if not isinstance(value, int) or isinstance(value, bool) or value < 0:
            self.fail(place, f'"{key}" is {_shown(value)}', expected="a whole number, 0 or above")
        return value

    def numbers(self, entry: Json, key: str, place: str, count: int) -> NDArray[np.float64] | None:
        """(count,) finite numbers, or None where the key is missing."""
        if key not in entry:
            return None
        value = entry[key]
        if (
            not isinstance(value, list)
            or len(value) != count
            or not all(isinstance(v, int | float) and not isinstance(v, bool) and abs(v) < HUGE for v in value)
        ):
            self.fail(place, f'"{key}" is {_shown(value)}', expected=f"{count} numbers, none above {HUGE:g}")
        return np.array(value, dtype=np.float64)

    def members(self, entry: Json, key: str, place: str) -> list[Any]:
        """A list; empty where the key is missing."""
        value = entry.get(key, [])
        if not isinstance(value, list):
            self.fail(place, f'"{key}" is {_shown(value)}', expected="a list")
        return value

    def buffer(self, index: object, place: str) -> Bytes:
        """The bytes of a buffer, as many as it declares. Raises FormatError where there are fewer."""
        entry = self.item("buffers", index, place)
        assert isinstance(index, int)
        if index not in self._buffers:
            self._buffers[index] = self._load(index, entry)
        return self._buffers[index]

    def _load(self, index: int, entry: Json) -> Bytes:
        place = f"buffer {index}"
        length = self.whole(entry, "byteLength", place)
        uri = entry.get("uri")
        if uri is None:
            if index != 0 or self.chunk is None:
                compressed = COMPRESSIONS & set(map(str, entry.get("extensions", {})))
                self.fail(
                    place,
                    f"it has no bytes without {sorted(compressed)[0]}, which Instep does not decode"
                    if compressed
                    else "it has neither an address nor a binary chunk",
                    expected="bytes",
                    cure="Export again without compression" if compressed else "Export again",
                )
            raw = self.chunk
        elif isinstance(uri, str):
            raw = self.resource(uri, place)
        else:
            self.fail(place, f'"uri" is {_shown(uri)}', expected="text")
        if len(raw) < length:
            self.fail(
                place,
                f"it has {len(raw)} bytes",
                expected=f"{length}",
                cure="The file is cut short or damaged: copy or export it again",
            )
        return np.frombuffer(raw, dtype=np.uint8, count=length)

    def resource(self, uri: str, place: str) -> bytes:
        """The bytes at an address: a data URI, or a file in the document's own folder or below.

        Raises FormatError where the address leads elsewhere, nothing is there, or it is too large.
        """
        if uri.startswith("data:"):
            head, comma, body = uri.partition(",")
            if not comma or not head.endswith(";base64"):
                self.fail(place, "its data URI is not in base64", expected="data:...;base64,...")
            try:
                return base64.b64decode(unquote(body), validate=True)
            except (binascii.Error, ValueError):
                self.fail(place, "its data URI holds what is not base64", expected="letters, digits, +, / and =")
        path = self.local_path(uri, place)
        return read_bytes(path, f"{self.path.name}: {place}", missing=f'its file "{unquote(uri)}" is missing')

    def local_path(self, uri: str, place: str) -> Path:
        """The file that a relative address names. Raises FormatError where it leaves the folder."""
        relative = unquote(uri)
        folder = self.path.parent.resolve()
        outside = ":" in relative.split("/")[0] or relative.startswith(("/", "\\")) or "\0" in relative
        path = folder / "." if outside else (folder / relative.replace("\\", "/")).resolve()
        if outside or not path.is_relative_to(folder):
            self.fail(
                place,
                f'its address "{relative}" leads out of the folder',
                expected="a file beside this one or below it",
                cure="Move the file there and put its address right",
            )
        return path


def _shown(value: object) -> str:
    """A JSON value, short enough for a message."""
    text = "missing" if value is None else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= 60 else text[:57] + "..."


def read_bytes(path: Path, where: str, *, missing: str) -> bytes:
    """All bytes of a file no larger than LARGEST, or FormatError."""
    try:
        size = path.stat().st_size
        if path.is_dir():
            raise FormatError("this is a folder", where=where, expected="a .glb or .gltf file")
        if size > LARGEST:
            raise FormatError(
                f"the file has {size / 2**30:.1f} GB",
                where=where,
                expected="at most 2 GB",
                cure="Leave large textures or other characters out and export again",
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise FormatError(missing, where=where, cure="Check the name and the folder") from None
    except OSError as error:
        raise FormatError(f"it cannot be read ({error.strerror})", where=where) from error


def read_document(path: Path | str) -> Document:
    """The shell of a .glb or .gltf file; which of the two is seen from its first bytes.

    Raises FormatError where the file is missing, a folder, too large, cut short, not glTF 2, or needs an
    extension that Instep cannot honour.
    """
    path = Path(path)
    raw = read_bytes(path, str(path), missing="there is no such file")
    if raw[:4] == MAGIC:
        document = _read_binary(path, raw)
    else:
        shell = Document(path, {})
        text = raw[3:] if raw[:3] == b"\xef\xbb\xbf" else raw
        if text.lstrip()[:1] != b"{":
            begins = f"it begins with {raw[:4]!r}" if raw else "it is empty"
            shell.fail("", f"this is not a glTF file: {begins}", expected='"glTF" or a JSON object at its start')
        document = Document(path, _parse(shell, text))
    _check_version(document)
    _check_extensions(document)
    return document


def _parse(shell: Document, text: bytes) -> Json:
    def refuse(token: str) -> NoReturn:
        raise ValueError(f"{token} is not a number in JSON")

    try:
        tree = json.loads(text.decode("utf-8"), parse_constant=refuse)
    except (ValueError, RecursionError) as error:
        shell.fail("JSON", f"it cannot be read ({error})", expected="valid JSON in UTF-8", cure="Export it again")
    if not isinstance(tree, dict):
        shell.fail("JSON", f"its outermost value is {_shown(tree)}", expected="an object")
    return tree


def _read_binary(path: Path, raw: bytes) -> Document:
    shell = Document(path, {})
    cut = "The file is cut short or damaged: copy or export it again"
    if len(raw) < 20:
        shell.fail("header", f"the file has {len(raw)} bytes", expected="at least 20", cure=cut)
    version, length = struct.unpack_from("<II", raw, 4)
    if version != 2:
        shell.fail("header", f"this is glTF {version}", expected="glTF 2", cure="Export it as glTF 2.0")
    if length > len(raw):
        shell.fail("header", f"the file has {len(raw)} bytes", expected=f"{length}", cure=cut)
    chunks: list[tuple[int, bytes]] = []
    at = 12
    while at + 8 <= length:
        size, kind = struct.unpack_from("<II", raw, at)
        if at + 8 + size > length:
            place = f"chunk {len(chunks)}"
            shell.fail(place, f"{length - at - 8} bytes are left for it", expected=f"{size}", cure=cut)
        chunks.append((kind, raw[at + 8 : at + 8 + size]))
        at += 8 + size
    if not chunks or chunks[0][0] != JSON_CHUNK:
        shell.fail("chunk 0", "it is not JSON", expected="JSON first", cure=cut)
    rest = chunks[1:]
    binary = rest.pop(0)[1] if rest and rest[0][0] == BINARY_CHUNK else None
    return Document(path, _parse(shell, chunks[0][1]), binary, tuple(rest))


def _check_version(document: Document) -> None:
    asset = document.json.get("asset")
    if not isinstance(asset, dict) or not isinstance(asset.get("version"), str):
        document.fail("asset", "it has no version: this is not a glTF file", expected='"version": "2.0"')
    needed = asset.get("minVersion", asset["version"])
    if asset["version"].split(".")[0] != "2" or needed not in ("2.0", asset["version"]):
        document.fail("asset", f"this is glTF {needed}", expected="glTF 2.0", cure="Export it as glTF 2.0")


def _check_extensions(document: Document) -> None:
    for name in map(str, document.members(document.json, "extensionsRequired", "extensionsRequired")):
        if name in COMPRESSIONS:
            document.fail(
                "extensionsRequired",
                f"the file needs {name}, which Instep does not decode",
                expected="meshes that are not compressed",
                cure="Export again without compression",
            )
        if name not in HONOURED and not name.startswith(HARMLESS):
            document.fail(
                "extensionsRequired",
                f"the file needs {name}, which Instep does not know",
                expected="no required extension that may change shape or motion",
                cure="Export again without it",
            )


def pack_binary(tree: Json, binary: bytes | None, others: Sequence[tuple[int, bytes]] = ()) -> bytes:
    """The bytes of a .glb (glTF 2.0, 4.4): chunks padded to 4 bytes, JSON with spaces, the rest with zeros."""
    chunks = [(JSON_CHUNK, pack_text(tree))]
    if binary is not None:
        chunks.append((BINARY_CHUNK, binary))
    chunks += others
    packed = []
    for kind, content in chunks:
        content += (b" " if kind == JSON_CHUNK else b"\0") * (-len(content) % 4)
        packed.append(struct.pack("<II", len(content), kind) + content)
    body = b"".join(packed)
    return MAGIC + struct.pack("<II", 2, 12 + len(body)) + body


def pack_text(tree: Json, *, indent: int | None = None) -> bytes:
    """JSON in UTF-8, keys in their own order."""
    separators = (",", ":") if indent is None else (",", ": ")
    text = json.dumps(tree, ensure_ascii=False, allow_nan=False, separators=separators, indent=indent)
    return text.encode("utf-8")
