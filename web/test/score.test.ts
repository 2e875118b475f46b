import { describe, expect, it } from "vitest";
import type { Score } from "../src/messages";
import { eased, frameTime, scoreAt, withKey } from "../src/score";

const score: Score = { name: "a", rate: 30, duration_s: 2, keys: { "left.foot": [{ time_s: 0.5, values: { roll: 10 } }, { time_s: 1.5, values: { roll: 30, bank: 4 } }] } };

describe("a score", () => {
  it("stays before the first key and after the last, and is half way in the middle", () => {
    expect(scoreAt(score, 0)).toEqual({ "left.foot.roll": 10, "left.foot.bank": 4 });
    expect(scoreAt(score, 1)["left.foot.roll"]).toBeCloseTo(20, 12);
    expect(scoreAt(score, 2)["left.foot.roll"]).toBe(30);
  });
  it("starts and ends each way slowly", () => {
    const stops = [[0, 0], [1, 1]] as const;
    expect(eased(stops, 0.01)).toBeLessThan(0.001);
    expect(eased(stops, 0.25) + eased(stops, 0.75)).toBeCloseTo(1, 12);
  });
  it("takes a key at a frame in place of the one there, in order of time", () => {
    const made = withKey(score, "left.foot", 0.51, { roll: 99 });
    expect(made.keys["left.foot"]!.map((key) => key.time_s)).toEqual([0.51, 1.5]);
    expect(score.keys["left.foot"]![0]!.values.roll).toBe(10);
  });
  it("forgets a control without keys", () => {
    const one = withKey(score, "left.foot", 0.5, null);
    expect(withKey(one, "left.foot", 1.5, null).keys).toEqual({});
  });
  it("goes by whole frames inside its length", () => {
    expect(frameTime(score, 0.34)).toBeCloseTo(10 / 30, 12);
    expect(frameTime(score, 9)).toBe(2);
  });
});
