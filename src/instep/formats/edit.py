"""Changes to a file that leave alone whatever they are not about.

The source's JSON tree is copied and changed where asked; its bytes stay as they are, and new ones go behind
them. What is written works where it is written: files that the source refers to stay referred to where the
target lies in the same folder, and are taken into the target where it does not.
"""

from __future__ import annotations

import base64
import copy
import os
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, unquote

import numpy as np
from numpy.typing import NDArray

from instep.character.arrays import FloatArray
from instep.character.pose import split_transforms
from instep.errors import OutputError
from instep.formats.container import Document, Json, pack_binary, pack_text
from instep.formats.nodes import local_matrix
from instep.formats.whole import write_whole

OWN: Final = "Instep clips"
"""Name of the buffer views that hold clips written by Instep: what may go when such a clip is replaced."""

MEDIA: Final = {
    b"\x89PNG": "image/png",
    b"\xff\xd8\xff": "image/jpeg",
    b"RIFF": "image/webp",
    b"\xabKTX": "image/ktx2",
}

FLOAT: Final = 5126


class Edit:
    """A copy of a file's JSON that can be changed, and bytes added to its end."""

    def __init__(self, document: Document, target: Path | str) -> None:
        self.document = document
        self.target = Path(target)
        self.binary = self.target.suffix.lower() == ".glb"
        if not self.binary and self.target.suffix.lower() != ".gltf":
            raise OutputError(
                f'its name ends in "{self.target.suffix}"' if self.target.suffix else "its name has no ending",
                where=str(self.target),
                expected='".glb" or ".gltf"',
                cure="Give it another name",
            )
        self.tree: Json = copy.deepcopy(document.json)
        self._own, self._bytes = self._own_buffer()

    def _own_buffer(self) -> tuple[int, bytearray]:
        """The buffer that new bytes go to, and what is in it."""
        buffers = self.all("buffers")
        first = buffers[0] if buffers else None
        in_chunk = first is not None and "uri" not in first and self.document.chunk is not None
        if in_chunk or (first is not None and self.binary and "uri" in first):
            return 0, bytearray(self.document.buffer(0, "buffer 0"))
        last = len(buffers) - 1
        if buffers and buffers[last].get("name") == OWN:
            return last, bytearray(self.document.buffer(last, f"buffer {last}"))
        buffers.append({"name": OWN})
        return last + 1, bytearray()

    def all(self, kind: str) -> list[Any]:
        """The list of all objects of a kind; made where it is missing."""
        found = self.tree.setdefault(kind, [])
        assert isinstance(found, list)
        return found

    def add_view(self, content: bytes, **more: object) -> int:
        """Append bytes, aligned to 4, and return the index of the new buffer view."""
        self._bytes += b"\0" * (-len(self._bytes) % 4)
        view = {"buffer": self._own, "byteOffset": len(self._bytes), "byteLength": len(content), **more}
        self._bytes += content
        self.all("bufferViews").append(view)
        return len(self.all("bufferViews")) - 1

    def add_accessor(
        self, view: int, values: NDArray[Any], kind: str, *, offset: int = 0, component: int = FLOAT, bounds: bool
    ) -> int:
        """Describe `values` (n,) or (n, width), which lie at `offset` in a view; returns the accessor's index."""
        accessor: Json = {"bufferView": view}
        if offset:
            accessor["byteOffset"] = offset
        accessor |= {"componentType": component, "count": len(values), "type": kind}
        if bounds:
            rows = values.reshape(len(values), -1)
            accessor["min"], accessor["max"] = rows.min(axis=0).tolist(), rows.max(axis=0).tolist()
        self.all("accessors").append(accessor)
        return len(self.all("accessors")) - 1

    def matrix_to_parts(self, node: int) -> None:
        """Write a node's matrix as translation, rotation and scale: glTF 2.0 (3.11) lets only these be animated.

        Raises CharacterError where the matrix shears.
        """
        entry = self.all("nodes")[node]
        if "matrix" not in entry:
            return
        matrix = local_matrix(self.document, entry, f"node {node}")
        parts = split_transforms(matrix, f"{self.document.path.name}: node {node}")
        changed: Json = {}
        for key, value in entry.items():
            if key == "matrix":
                for path, numbers in zip(("translation", "rotation", "scale"), parts, strict=True):
                    changed[path] = written(path, numbers)
            else:
                changed[key] = value
        self.all("nodes")[node] = changed

    def drop_animations(self, which: set[int]) -> None:
        """Take animations out, and those of their bytes that Instep wrote and that lie at the file's end."""
        animations = self.all("animations")
        kept = [animation for index, animation in enumerate(animations) if index not in which]
        dropped = self._accessors_of([animations[index] for index in which]) - self._accessors_of(kept)
        animations[:] = kept
        accessors, views = self.all("accessors"), self.all("bufferViews")
        while accessors and len(accessors) - 1 in dropped and self._is_own(accessors[-1].get("bufferView")):
            accessors.pop()
        while views and self._is_own(len(views) - 1) and self._is_last(views[-1]) and not self._is_used():
            self._bytes = self._bytes[: views[-1].get("byteOffset", 0)]
            views.pop()

    @staticmethod
    def _accessors_of(animations: list[Json]) -> set[int]:
        samplers = [sampler for animation in animations for sampler in animation.get("samplers", [])]
        return {sampler.get(key) for sampler in samplers for key in ("input", "output")}

    def _is_own(self, view: object) -> bool:
        views = self.all("bufferViews")
        return isinstance(view, int) and views[view].get("name") == OWN and views[view]["buffer"] == self._own

    def _is_last(self, view: Json) -> bool:
        return int(view.get("byteOffset", 0) + view["byteLength"]) == len(self._bytes)

    def _is_used(self) -> bool:
        """Whether an accessor refers to the last buffer view."""
        last = len(self.all("bufferViews")) - 1
        return any(last in (accessor.get("bufferView"), *_sparse_views(accessor)) for accessor in self.all("accessors"))

    def save(self) -> None:
        """Write the target, whole or not at all. Raises OutputError."""
        if not self._bytes and self.all("buffers")[self._own] == {"name": OWN}:
            self.all("buffers").pop()
        else:
            self._close_own_buffer()
        self._take_in_files()
        for kind in ("buffers", "bufferViews", "accessors", "animations"):
            if kind in self.tree and not self.tree[kind]:  # glTF 2.0 forbids empty lists
                del self.tree[kind]
        if self.binary:
            chunk = bytes(self._bytes) if self._own == 0 and "buffers" in self.tree else None
            write_whole(self.target, pack_binary(self.tree, chunk, self.document.other_chunks))
        else:
            write_whole(self.target, pack_text(self.tree, indent=1) + b"\n")

    def _close_own_buffer(self) -> None:
        entry = self.all("buffers")[self._own]
        entry["byteLength"] = len(self._bytes)
        entry.pop("uri", None)
        if not self.binary or self._own:
            entry["uri"] = _data_uri(bytes(self._bytes), "application/octet-stream")

    def _take_in_files(self) -> None:
        if self.target.parent.resolve() == self.document.path.parent.resolve():
            return
        for index, entry in enumerate(self.all("buffers")):
            uri = entry.get("uri")
            if uri and not uri.startswith("data:"):
                content = bytes(self.document.buffer(index, f"buffer {index}"))
                entry["uri"] = _data_uri(content, "application/octet-stream")
        for entry in self.tree.get("images", []):
            uri = entry.get("uri")
            if isinstance(uri, str) and not uri.startswith(("data:", "http:", "https:")):
                entry["uri"] = self._image_address(uri)

    def _image_address(self, uri: str) -> str:
        """An image's own bytes; where it lies outside the source's folder or is missing, the way to it."""
        folder = self.document.path.parent.resolve()
        path = (folder / unquote(uri)).resolve()
        if not path.is_relative_to(folder) or not path.is_file():
            return quote(Path(os.path.relpath(path, self.target.parent.resolve())).as_posix())
        content = path.read_bytes()
        media = next((kind for start, kind in MEDIA.items() if content.startswith(start)), "image/png")
        return _data_uri(content, media)


def _sparse_views(accessor: Json) -> tuple[object, ...]:
    sparse = accessor.get("sparse", {})
    return tuple(sparse.get(part, {}).get("bufferView") for part in ("indices", "values"))


def _data_uri(content: bytes, media: str) -> str:
    return f"data:{media};base64,{base64.b64encode(content).decode('ascii')}"


def written(path: str, numbers: FloatArray) -> list[float]:
    """A transform's part in the order of the file: quaternions x, y, z, w."""
    values = numbers[[1, 2, 3, 0]] if path == "rotation" else numbers
    return [float(v) + 0.0 for v in np.asarray(values)]
