import { describe, expect, it } from "vitest";
import { fitRocker, rollAt, spot, stretch } from "../src/rocker";

const rocker = fitRocker(-40, 90, 20, 900, 120, 0.07);

describe("the rocker", () => {
  it("gives back each roll from its place across, and 0 on the flat", () => {
    for (let roll = -40; roll <= 90; roll += 0.5) if (roll) expect(rollAt(rocker, spot(rocker, roll).x)).toBeCloseTo(roll, 9);
    for (let share = -0.49; share < 0.5; share += 0.07) expect(rollAt(rocker, rocker.x + share * rocker.flat)).toBe(0);
  });
  it("fills its width and ends at its ends", () => {
    expect(spot(rocker, -40).x).toBeCloseTo(20, 3);
    expect(spot(rocker, 90).x).toBeCloseTo(900, 3);
    expect(rollAt(rocker, -50)).toBe(-40);
    expect(rollAt(rocker, 5000)).toBe(90);
  });
  it("rises to both sides, its slope a fifth of the roll", () => {
    expect(spot(rocker, 50).slope).toBeCloseTo((10 * Math.PI) / 180, 12);
    expect(spot(rocker, 50).y).toBeLessThan(rocker.y);
    expect(spot(rocker, -20).y).toBeLessThan(rocker.y);
  });
  it("draws a stretch from one end to the other", () => {
    const numbers = stretch(rocker, 0, 35).match(/[\d.]+/g)!.map(Number);
    expect(numbers[0]).toBeCloseTo(rocker.x, 0);
    expect(numbers[numbers.length - 2]).toBeCloseTo(spot(rocker, 35).x, 0);
  });
});
