import { describe, expect, it } from "vitest";
import { invert, leastSquares, snapped } from "../src/invert";

const how = { channels: [1, 2], low: [-100, -100], high: [100, 100], step: [0.5, 0.5] };

describe("invert", () => {
  it("meets goals of a turned and stretched plane, wherever it starts", () => {
    for (let n = 0; n < 50; n++) {
      const wanted = [Math.sin(n) * 60, Math.cos(3 * n) * 60];
      const see = (v: Float64Array): number[] => [3 * v[1]! + 0.7 * v[2]! + 0.01 * v[1]! * v[2]!, v[2]! - 0.4 * v[1]!];
      const goal = see(Float64Array.of(9, wanted[0]!, wanted[1]!));
      const values = Float64Array.of(9, Math.cos(n) * 20, 5);
      const left = invert(values, how, (v) => see(v).map((x, k) => x - goal[k]!), 40);
      expect(left).toBeLessThan(0.05);
      expect(values[0]).toBe(9);
    }
  });
  it("stays inside the range and gives the nearest place there", () => {
    const values = new Float64Array(3);
    invert(values, how, (v) => [v[1]! - 500, v[2]!]);
    expect(values[1]).toBe(100);
  });
  it("stands still where no channel moves anything", () => {
    const values = Float64Array.of(0, 1, 2);
    invert(values, how, () => [5, 5]);
    expect([...values]).toEqual([0, 1, 2]);
  });
  it("solves least squares as the normal equations say", () => {
    expect(leastSquares([[2, 0], [0, 4]], [2, 4], 0)).toEqual([-1, -1]);
  });
  it("snaps to steps but keeps to the range", () => {
    expect(snapped(37.4, 5, -40, 90)).toBe(35);
    expect(snapped(89, 5, -40, 88)).toBe(88);
  });
});
