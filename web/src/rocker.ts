// The line that a foot rolls along: even in degrees, its slope a fixed share of the roll, with a flat at 0. The same
// rule as the rig sheet's (src/instep/delivery/plates/rocker.py), so that the two drawings agree.

export const TILT = 0.2;

export interface Rocker {
  low: number;
  high: number;
  /** Pixels a degree. */
  rate: number;
  /** Pixels of the flat. */
  flat: number;
  /** Where the middle of the flat is. */
  x: number;
  y: number;
}

export interface Spot {
  x: number;
  y: number;
  slope: number;
}

const RAD = Math.PI / 180;

/** Where a roll lies, in pixels (y down), with the slope in radians. */
export function spot(rocker: Rocker, roll: number): Spot {
  const slope = TILT * roll * RAD;
  const radius = rocker.rate / (TILT * RAD);
  return {
    x: rocker.x + radius * Math.sin(slope) + 0.5 * rocker.flat * Math.sign(roll),
    y: rocker.y - radius * (1 - Math.cos(slope)),
    slope,
  };
}

/** The roll that lies at a place across: 0 all along the flat, the ends beyond the ends. */
export function rollAt(rocker: Rocker, x: number): number {
  const away = x - rocker.x;
  const half = 0.5 * rocker.flat;
  if (Math.abs(away) <= half) return 0;
  const radius = rocker.rate / (TILT * RAD);
  const sine = Math.min(Math.max((away - half * Math.sign(away)) / radius, -1), 1);
  return Math.min(Math.max(Math.asin(sine) / (TILT * RAD), rocker.low), rocker.high);
}

/** A rocker that fits between two places across, its lowest line at `y`. */
export function fitRocker(low: number, high: number, left: number, right: number, y: number, flatShare: number): Rocker {
  const width = right - left;
  const flat = flatShare * width;
  let rate = (width - flat) / (high - low);
  let rocker: Rocker = { low, high, rate, flat, x: 0, y };
  for (let round = 0; round < 6; round++) {
    const whole = spot(rocker, high).x - spot(rocker, low).x;
    rate *= (width - flat) / (whole - flat);
    rocker = { ...rocker, rate };
  }
  return { ...rocker, x: left - spot(rocker, low).x };
}

/** An SVG path along the rocker between two rolls; with `flat` the flat is drawn where 0 lies between them. */
export function stretch(rocker: Rocker, from: number, to: number): string {
  const [a, b] = from < to ? [from, to] : [to, from];
  const rolls: number[] = [];
  const count = Math.max(Math.ceil((b - a) / 2), 1);
  for (let i = 0; i <= count; i++) rolls.push(a + ((b - a) * i) / count);
  const points = rolls.flatMap((roll) => (Math.abs(roll) < 1e-9 ? [] : [spot(rocker, roll)]));
  if (a <= 0 && b >= 0) {
    const half = 0.5 * rocker.flat;
    const ahead = points.filter((p) => p.x > rocker.x);
    const behind = points.filter((p) => p.x < rocker.x);
    const flat: Spot[] = [];
    if (a < 0 || b > 0) {
      flat.push({ x: rocker.x + (a < 0 ? -half : 0), y: rocker.y, slope: 0 }, { x: rocker.x + (b > 0 ? half : 0), y: rocker.y, slope: 0 });
    }
    return path([...behind, ...flat, ...ahead]);
  }
  return path(points);
}

const path = (points: Spot[]): string => points.map((p, i) => `${i ? "L" : "M"}${p.x.toFixed(1)} ${p.y.toFixed(1)}`).join("");
