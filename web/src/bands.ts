// What of a triangle lies between two heights: for maps of a sole over the floor.

export interface Corner {
  x: number;
  y: number;
  h: number;
}

/** The polygon of the part of a triangle whose height is at least `low` and at most `high`; empty where there is none. */
export function band(triangle: readonly Corner[], low: number, high: number): Corner[] {
  return clipped(clipped([...triangle], low, 1), high, -1);
}

function clipped(polygon: Corner[], level: number, sign: 1 | -1): Corner[] {
  const kept: Corner[] = [];
  for (let i = 0; i < polygon.length; i++) {
    const a = polygon[i]!;
    const b = polygon[(i + 1) % polygon.length]!;
    const inA = sign * (a.h - level) >= 0;
    const inB = sign * (b.h - level) >= 0;
    if (inA) kept.push(a);
    if (inA !== inB) kept.push(between(a, b, level));
  }
  return kept;
}

/** The line in which a triangle stands at one height; null where it does not. */
export function levelLine(triangle: readonly Corner[], level: number): [Corner, Corner] | null {
  const ends: Corner[] = [];
  for (let i = 0; i < 3; i++) {
    const a = triangle[i]!;
    const b = triangle[(i + 1) % 3]!;
    if (a.h >= level !== b.h >= level) ends.push(between(a, b, level));
  }
  return ends.length === 2 ? [ends[0]!, ends[1]!] : null;
}

function between(a: Corner, b: Corner, level: number): Corner {
  const s = (level - a.h) / (b.h - a.h);
  return { x: a.x + s * (b.x - a.x), y: a.y + s * (b.y - a.y), h: level };
}
