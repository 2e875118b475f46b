import { describe, expect, it } from "vitest";
import type { ChannelInfo } from "../src/messages";
import { fixed, sideOf, typedValue, valueWords } from "../src/words";

const channel = (unit: ChannelInfo["unit"]): ChannelInfo => ({ name: "a.b", control: "a", quantity: "b", unit, low: -90, high: 90, default: 0, sentence: "" });

describe("numbers as they are read", () => {
  it("have fixed decimals and a true minus, which nothing before zero has", () => {
    expect(fixed(-12.34, 1)).toBe("−12.3");
    expect(fixed(-0.01, 1)).toBe("0.0");
  });
  it("have units", () => {
    expect(valueWords(channel("deg"), 35, true)).toEqual(["35.0", "°"]);
    expect(valueWords(channel("length"), -0.05, true)).toEqual(["−5.0", "cm"]);
    expect(valueWords(channel("length"), 2, false)).toEqual(["2.000", "units"]);
  });
});

describe("numbers as they are typed", () => {
  it("take the channel's unit, or one that is named", () => {
    expect(typedValue("35", channel("deg"), true)).toBe(35);
    expect(typedValue("−12,5°", channel("deg"), true)).toBe(-12.5);
    expect(typedValue("2", channel("length"), true)).toBeCloseTo(0.02, 12);
    expect(typedValue("20 mm", channel("length"), true)).toBeCloseTo(0.02, 12);
    expect(typedValue("0.02 m", channel("length"), true)).toBeCloseTo(0.02, 12);
    expect(typedValue("2", channel("length"), false)).toBe(2);
  });
  it("are refused where they are none", () => {
    for (const text of ["", "-", "1e", "three", "4 miles"]) expect(typedValue(text, channel("deg"), true)).toBeNull();
  });
  it("know their side by the name", () => {
    expect(sideOf("left.hind.foot")).toBe("left");
    expect(sideOf("upper_arm.right")).toBe("right");
    expect(sideOf("leftover")).toBe("middle");
  });
});
