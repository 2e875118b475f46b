import { describe, expect, it } from "vitest";
import { band, type Corner, levelLine } from "../src/bands";

const area = (polygon: Corner[]): number =>
  Math.abs(polygon.reduce((sum, p, i) => {
    const q = polygon[(i + 1) % polygon.length]!;
    return sum + p.x * q.y - q.x * p.y;
  }, 0)) / 2;

const triangle: Corner[] = [{ x: 0, y: 0, h: -1 }, { x: 4, y: 0, h: 3 }, { x: 0, y: 2, h: 1 }];

describe("bands of height", () => {
  it("cut a triangle into pieces that make it up", () => {
    const cuts = [-Infinity, -0.5, 0.2, 1, 1.7, Infinity];
    const pieces = cuts.slice(1).map((high, i) => area(band(triangle, cuts[i]!, high)));
    expect(pieces.reduce((a, b) => a + b)).toBeCloseTo(area(triangle), 12);
    expect(pieces.every((piece) => piece > 0)).toBe(true);
  });
  it("are all or nothing where a triangle lies inside or outside", () => {
    expect(area(band(triangle, -2, 4))).toBeCloseTo(4, 12);
    expect(band(triangle, 3.5, 9)).toEqual([]);
  });
  it("end on level lines", () => {
    const [a, b] = levelLine(triangle, 0)!;
    expect(a.x).toBeCloseTo(1, 12);
    expect(b.y).toBeCloseTo(1, 12);
    expect(levelLine(triangle, 7)).toBeNull();
  });
});
