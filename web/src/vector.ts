// Points and directions as triples, and what drawing needs of them. The rig's own mathematics is in the generated module.

export type Vec3 = [number, number, number];
export type Vec2 = [number, number];

export const add = (a: Vec3, b: Vec3): Vec3 => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const sub = (a: Vec3, b: Vec3): Vec3 => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const scaled = (a: Vec3, s: number): Vec3 => [a[0] * s, a[1] * s, a[2] * s];
export const dot = (a: Vec3, b: Vec3): number => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a: Vec3, b: Vec3): Vec3 => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];
export const length = (a: Vec3): number => Math.hypot(a[0], a[1], a[2]);
export const unit = (a: Vec3): Vec3 => scaled(a, 1 / (length(a) || 1));

/** a x + b y + c z for an orthonormal frame. */
export const along = (x: Vec3, y: Vec3, z: Vec3, a: number, b: number, c: number): Vec3 => [
  x[0] * a + y[0] * b + z[0] * c,
  x[1] * a + y[1] * b + z[1] * c,
  x[2] * a + y[2] * b + z[2] * c,
];

/** A point under a 3 x 4 matrix [A | t], written by rows, that begins at `at`. */
export function carried(m: ArrayLike<number>, at: number, p: Vec3): Vec3 {
  return [
    m[at]! * p[0] + m[at + 1]! * p[1] + m[at + 2]! * p[2] + m[at + 3]!,
    m[at + 4]! * p[0] + m[at + 5]! * p[1] + m[at + 6]! * p[2] + m[at + 7]!,
    m[at + 8]! * p[0] + m[at + 9]! * p[1] + m[at + 10]! * p[2] + m[at + 11]!,
  ];
}
