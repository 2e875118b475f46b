// Dragging asks: which channel values bring this point there? Answered numerically through the generated program.

export interface Inversion {
  /** Channel numbers that may change. */
  channels: readonly number[];
  low: readonly number[];
  high: readonly number[];
  /** A step of each channel that moves things by about as much as a person can see. */
  step: readonly number[];
}

/**
 * Change `values` in place so that `miss(values)` (pixels, any number of them) becomes as short as it can be.
 *
 * Damped least squares over central differences; a step that does not help is shortened. Returns how far is missing.
 */
export function invert(values: Float64Array, how: Inversion, miss: (values: Float64Array) => number[], rounds = 12): number {
  const n = how.channels.length;
  let error = miss(values);
  let size = Math.hypot(...error);
  let damping = 1e-6;
  for (let round = 0; round < rounds && size > 0.02; round++) {
    const slopes: number[][] = [];
    for (let i = 0; i < n; i++) {
      const channel = how.channels[i]!;
      const at = values[channel]!;
      const h = how.step[i]!;
      values[channel] = at + h;
      const ahead = miss(values);
      values[channel] = at - h;
      const behind = miss(values);
      values[channel] = at;
      slopes.push(ahead.map((a, k) => (a - behind[k]!) / 2)); // a change of one step
    }
    const before = how.channels.map((channel) => values[channel]!);
    let better = false;
    for (let attempt = 0; attempt < 6 && !better; attempt++) {
      const move = leastSquares(slopes, error, damping);
      how.channels.forEach((channel, i) => {
        const wanted = before[i]! + move[i]! * how.step[i]!;
        values[channel] = Math.min(Math.max(wanted, how.low[i]!), how.high[i]!);
      });
      const found = miss(values);
      const reached = Math.hypot(...found);
      if (reached < size) {
        better = size - reached > 1e-3 * size;
        size = reached;
        error = found;
        damping *= 0.2;
        if (!better) return size;
      } else {
        how.channels.forEach((channel, i) => (values[channel] = before[i]!));
        damping = Math.max(damping * 20, 1e-4);
      }
    }
    if (!better) break;
  }
  return size;
}

/** The m that makes |S m + e|^2 + damping tr |m|^2 least: normal equations of at most a few unknowns, eliminated. */
export function leastSquares(slopes: number[][], error: number[], damping: number): number[] {
  const n = slopes.length;
  const a = slopes.map((row) => slopes.map((other) => inner(row, other)));
  const trace = a.reduce((sum, row, i) => sum + row[i]!, 0) || 1;
  const b = slopes.map((row) => -inner(row, error));
  for (let i = 0; i < n; i++) a[i]![i]! += damping * trace;
  for (let i = 0; i < n; i++) {
    const pivot = a[i]![i]! || 1e-300;
    for (let j = i + 1; j < n; j++) {
      const share = a[j]![i]! / pivot;
      for (let k = i; k < n; k++) a[j]![k]! -= share * a[i]![k]!;
      b[j]! -= share * b[i]!;
    }
  }
  const m = new Array<number>(n).fill(0);
  for (let i = n - 1; i >= 0; i--) {
    let rest = b[i]!;
    for (let k = i + 1; k < n; k++) rest -= a[i]![k]! * m[k]!;
    m[i] = rest / (a[i]![i]! || 1e-300);
  }
  return m;
}

const inner = (a: number[], b: number[]): number => a.reduce((sum, x, i) => sum + x * b[i]!, 0);

/** A value in steps; the ends of its range are always reached. */
export function snapped(value: number, step: number, low: number, high: number): number {
  return Math.min(Math.max(Math.round(value / step) * step, low), high);
}
