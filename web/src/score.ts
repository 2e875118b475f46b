// A score as channel values: the same rule as src/instep/bench/score.py, held against it by a test.
import type { Key, Score } from "./messages";

/** A channel at time t, from (time, value) stops in order: 3u² - 2u³ of the way between two, still before and after. */
export function eased(stops: readonly (readonly [number, number])[], t: number): number {
  let k = 0;
  while (k < stops.length - 2 && t >= stops[k + 1]![0]) k++;
  const [t0, v0] = stops[k]!;
  const next = stops[k + 1];
  if (!next) return v0;
  const u = Math.min(Math.max((t - t0) / (next[0] - t0), 0), 1);
  return v0 + (next[1] - v0) * u * u * (3 - 2 * u);
}

/** Values of all channels that a score has keys for, at time t. */
export function scoreAt(score: Score, t: number): Record<string, number> {
  const found: Record<string, number> = {};
  for (const [control, keys] of Object.entries(score.keys)) {
    const quantities = new Set(keys.flatMap((key) => Object.keys(key.values)));
    for (const quantity of quantities) {
      const stops = keys.flatMap((key) => (quantity in key.values ? [[key.time_s, key.values[quantity]!] as const] : []));
      found[`${control}.${quantity}`] = eased(stops, t);
    }
  }
  return found;
}

/** The score with one control's key at time t set, or taken out where `values` is null. */
export function withKey(score: Score, control: string, t: number, values: Record<string, number> | null): Score {
  const slack = 0.5 / score.rate;
  const others = (score.keys[control] ?? []).filter((key) => Math.abs(key.time_s - t) > slack);
  const keys: Key[] = values ? [...others, { time_s: t, values }].sort((a, b) => a.time_s - b.time_s) : others;
  const all = { ...score.keys };
  if (keys.length) all[control] = keys;
  else delete all[control];
  return { ...score, keys: all };
}

/** The time of the frame nearest to t, inside the score. */
export function frameTime(score: Score, t: number): number {
  const last = Math.round(score.duration_s * score.rate);
  return Math.min(Math.max(Math.round(t * score.rate), 0), last) / score.rate;
}
