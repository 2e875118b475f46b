"""Linear blend skinning by compiled code, where a C compiler is at hand.

Frames are innermost: the changes of the joints lie as 12 rows of 8 frames each, so that one weight of one vertex does
eight frames in one instruction. Then 8 vertices by 8 frames are put in order and written as whole lines of cache.
"""

from __future__ import annotations

import ctypes
from typing import Final

import numpy as np

from instep.character.arrays import FloatArray, IntArray
from instep.character.mesh import Mesh
from instep.character.pose import Poses
from instep.character.skeleton import Skeleton
from instep.native import load_library, native_is_wished
from instep.native.threads import share_frames

COMPILE_WORK: Final = 20_000_000
"""Vertices times poses from which on the compiler is called when no library is kept: half a second, as long as NumPy
takes for them. Once a user and compiler, not once a character."""

KEPT_WORK: Final = 100_000
"""Vertices times poses from which on a kept library is looked for."""

THREAD_FRAMES: Final = 32
"""Frames worth a thread of their own."""


def skin_natively(
    mesh: Mesh,
    skeleton: Skeleton,
    poses: Poses,
    rows: IntArray,
    *,
    native: bool | None = None,
    threads: int | None = None,
    out: FloatArray | None = None,
) -> FloatArray | None:
    """(N, V, 3) positions of the vertices `rows`; None where compiled code is not to be had or not worth it.

    `out` is a C-contiguous array of that shape to fill and return: pages that the system gives for the first time
    cost as much as the work itself.
    """
    work = len(rows) * len(poses)
    if native is False or (native is None and not native_is_wished() and work < KEPT_WORK):
        return None
    library = load_library(SOURCE, _agrees, may_compile=native is True or work >= COMPILE_WORK or native_is_wished())
    return None if library is None else _skin(library, mesh, skeleton, poses, rows, threads, out)


def _skin(
    library: ctypes.CDLL,
    mesh: Mesh,
    skeleton: Skeleton,
    poses: Poses,
    rows: IntArray,
    threads: int | None,
    out: FloatArray | None = None,
) -> FloatArray:
    weights, joints = mesh.weights[rows], mesh.joints[rows]
    kept = weights != 0
    used, number = np.unique(joints[kept], return_inverse=True)
    starts = np.concatenate([[0], np.cumsum(kept.sum(axis=1))]).astype(np.int64)
    shares = weights[kept]
    places = np.repeat(mesh.positions[rows], kept.sum(axis=1), axis=0)
    factors = np.ascontiguousarray(np.concatenate([places * shares[:, None], shares[:, None]], axis=1))
    influences = np.ascontiguousarray(number.reshape(-1), dtype=np.int64)
    bind = np.ascontiguousarray(skeleton.positions[used])
    rotation = np.ascontiguousarray(poses.rotation[:, used])
    position = np.ascontiguousarray(poses.position[:, used])
    scale = np.ascontiguousarray(poses.scale)
    skinned = np.empty((len(poses), len(rows), 3)) if out is None else out
    assert skinned.shape == (len(poses), len(rows), 3)
    assert skinned.dtype == np.float64
    assert skinned.flags.c_contiguous
    tables = [scale, rotation, position, bind, starts, influences, factors, skinned]
    size, pointers = ctypes.c_ssize_t, [ctypes.c_void_p(table.ctypes.data) for table in tables]

    def work(first: int, end: int) -> None:
        # One block of frames' changes, for the native code to work in: joints are as many as a character has.
        space = np.empty(len(used) * 12 * 8 + 8)
        status = library.instep_skin(
            size(first), size(end), size(len(rows)), size(len(used)), ctypes.c_void_p(space.ctypes.data), *pointers
        )
        assert status == 0

    if len(rows):
        share_frames(work, len(poses), least=THREAD_FRAMES, threads=threads)
    return skinned


def _agrees(library: ctypes.CDLL) -> bool:
    """Whether a library just compiled skins eleven vertices on three joints as the formula says, in 19 poses."""
    rng = np.random.default_rng(7)
    weights = rng.uniform(0.0, 1.0, (11, 3)) * (rng.random((11, 3)) < 0.7) + np.array([1e-3, 0.0, 0.0])
    weights /= weights.sum(axis=1, keepdims=True)
    bind = np.tile(np.eye(4), (3, 1, 1))
    bind[:, :3, 3] = rng.normal(size=(3, 3))
    turns = rng.normal(size=(19, 3, 4))
    turns /= np.linalg.norm(turns, axis=-1, keepdims=True)
    skeleton = Skeleton(("a", "b", "c"), np.array([-1, 0, 1]), bind, bind.copy(), bind.copy())
    points, joints = rng.normal(size=(11, 3)), np.tile(np.arange(3), (11, 1))
    mesh = Mesh(points, np.zeros((0, 3), dtype=np.int64), joints, weights, ())
    poses = Poses(turns, rng.normal(size=(19, 3, 3)), rng.uniform(0.5, 2.0, 19))
    changes = poses.changes(skeleton)
    each = np.einsum("njab,vb->nvja", changes[..., :3], points) + changes[:, None, :, :, 3]
    wanted = np.einsum("vj,nvja->nva", weights, each)
    found = _skin(library, mesh, skeleton, poses, np.arange(11), 1)
    return bool(np.abs(found - wanted).max() < 1e-12)


SOURCE: Final = r"""
#include <stddef.h>
/* Vectors by the extension that gcc and clang share; no other compiler gets here, since none takes the flags. */
typedef double eight __attribute__((vector_size(64)));
typedef double eight_anywhere __attribute__((vector_size(64), aligned(8), may_alias));
#if defined(__clang__) || __GNUC__ >= 12
#define SHUFFLE(a, b, ...) __builtin_shufflevector(a, b, __VA_ARGS__)
#endif
enum { LANES = 8, GROUP = 8 };

#ifdef SHUFFLE
/* Rows to columns, in place, by three rounds of exchanges. */
static inline void turn_over(eight *r)
{
    eight t[8], u[8];
    int k;
    for (k = 0; k < 8; k += 2) {
        t[k] = SHUFFLE(r[k], r[k + 1], 0, 8, 2, 10, 4, 12, 6, 14);
        t[k + 1] = SHUFFLE(r[k], r[k + 1], 1, 9, 3, 11, 5, 13, 7, 15);
    }
    for (k = 0; k < 8; k += 4) {
        u[k] = SHUFFLE(t[k], t[k + 2], 0, 1, 8, 9, 4, 5, 12, 13);
        u[k + 1] = SHUFFLE(t[k + 1], t[k + 3], 0, 1, 8, 9, 4, 5, 12, 13);
        u[k + 2] = SHUFFLE(t[k], t[k + 2], 2, 3, 10, 11, 6, 7, 14, 15);
        u[k + 3] = SHUFFLE(t[k + 1], t[k + 3], 2, 3, 10, 11, 6, 7, 14, 15);
    }
    for (k = 0; k < 4; ++k) {
        r[k] = SHUFFLE(u[k], u[k + 4], 0, 1, 2, 3, 8, 9, 10, 11);
        r[k + 4] = SHUFFLE(u[k], u[k + 4], 4, 5, 6, 7, 12, 13, 14, 15);
    }
}
#endif

/* Where the changes A x + t of a block of 8 frames are kept: 12 rows of 8 for each joint. Frames to spare repeat the
   last one. */
static void changes(ptrdiff_t frame, ptrdiff_t end, ptrdiff_t joints, double *restrict space, const double *scale,
    const double *rotation, const double *position, const double *bind)
{
    ptrdiff_t j;
    int lane;
    for (j = 0; j < joints; ++j) {
        double *restrict a = space + j * 12 * LANES;
        const double bx = bind[3 * j], by = bind[3 * j + 1], bz = bind[3 * j + 2];
        for (lane = 0; lane < LANES; ++lane) {
            const ptrdiff_t n = frame + lane < end ? frame + lane : end - 1;
            const double *q = rotation + 4 * (n * joints + j), *p = position + 3 * (n * joints + j), s = scale[n];
            const double w = q[0], x = q[1], y = q[2], z = q[3];
            const double r[9] = {
                1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y),
                2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x),
                2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y),
            };
            int k;
            for (k = 0; k < 3; ++k) {
                const double ax = s * r[3 * k], ay = s * r[3 * k + 1], az = s * r[3 * k + 2];
                a[(4 * k) * LANES + lane] = ax;
                a[(4 * k + 1) * LANES + lane] = ay;
                a[(4 * k + 2) * LANES + lane] = az;
                a[(4 * k + 3) * LANES + lane] = p[k] - (ax * bx + ay * by + az * bz);
            }
        }
    }
}

int instep_skin(ptrdiff_t first, ptrdiff_t end, ptrdiff_t vertices, ptrdiff_t joints, double *space,
    const double *scale, const double *rotation, const double *position, const double *bind, const ptrdiff_t *starts,
    const ptrdiff_t *influences, const double *factors, double *skinned)
{
    double *line = (double *)(((size_t)space + 63) & ~(size_t)63);
    ptrdiff_t frame, v;
    for (frame = first; frame < end; frame += LANES) {
        const int lanes = (int)(end - frame < LANES ? end - frame : LANES);
        changes(frame, end, joints, line, scale, rotation, position, bind);
        for (v = 0; v < vertices; v += GROUP) {
            const int group = (int)(vertices - v < GROUP ? vertices - v : GROUP);
            eight sum[3 * GROUP] = {{0}};
            int g, lane, k;
            for (g = 0; g < group; ++g) {
                eight x = {0}, y = {0}, z = {0};
                ptrdiff_t i;
                for (i = starts[v + g]; i < starts[v + g + 1]; ++i) {
                    const eight *a = (const eight *)(line + influences[i] * 12 * LANES);
                    const double fx = factors[4 * i], fy = factors[4 * i + 1], fz = factors[4 * i + 2];
                    const double f = factors[4 * i + 3];
                    x += (a[0] * fx + a[1] * fy) + (a[2] * fz + a[3] * f);
                    y += (a[4] * fx + a[5] * fy) + (a[6] * fz + a[7] * f);
                    z += (a[8] * fx + a[9] * fy) + (a[10] * fz + a[11] * f);
                }
                sum[3 * g] = x;
                sum[3 * g + 1] = y;
                sum[3 * g + 2] = z;
            }
#ifdef SHUFFLE
            if (group == GROUP && lanes == LANES) {
                turn_over(sum);
                turn_over(sum + 8);
                turn_over(sum + 16);
                for (lane = 0; lane < LANES; ++lane) {
                    double *o = skinned + 3 * ((frame + lane) * vertices + v);
                    for (k = 0; k < 3; ++k) *(eight_anywhere *)(o + 8 * k) = sum[8 * k + lane];
                }
                continue;
            }
#endif
            for (lane = 0; lane < lanes; ++lane) {
                double *o = skinned + 3 * ((frame + lane) * vertices + v);
                for (k = 0; k < 3 * group; ++k) o[k] = sum[k][lane];
            }
        }
    }
    return 0;
}
"""
