// Numbers and names as a person reads them: fixed decimals, so that they do not jitter, and a true minus sign.
import type { ChannelInfo, RigInfo } from "./messages";

export function fixed(value: number, decimals: number): string {
  const text = Math.abs(value).toFixed(decimals);
  return value < 0 && Number(text) !== 0 ? `−${text}` : text;
}

/** A length of a channel: centimetres to a millimetre where the unit is the metre. */
export function lengthWords(value: number, mm: boolean): [string, string] {
  return mm ? [fixed(value * 100, 1), "cm"] : [fixed(value, 3), "units"];
}

/** A measured length: whole millimetres where the unit is the metre. */
export function sizeWords(value: number, mm: boolean): string {
  return mm ? `${fixed(value * 1000, 0)} mm` : `${fixed(value, 3)} units`;
}

/** A channel's value and its unit. */
export function valueWords(channel: ChannelInfo, value: number, mm: boolean): [string, string] {
  if (channel.unit === "deg") return [fixed(value, 1), "°"];
  if (channel.unit === "share") return [fixed(value, 2), ""];
  return lengthWords(value, mm);
}

/** What a person typed, in the channel's own unit; null where it is no number. */
export function typedValue(text: string, channel: ChannelInfo, mm: boolean): number | null {
  const match = /^\s*([+\-−]?\d*[.,]?\d+)\s*(mm|cm|m|°|deg|units)?\s*$/.exec(text);
  if (!match) return null;
  const number = Number(match[1]!.replace("−", "-").replace(",", "."));
  if (!Number.isFinite(number)) return null;
  if (channel.unit !== "length" || !mm) return number;
  return number * ({ mm: 0.001, m: 1 }[match[2] ?? "cm"] ?? 0.01);
}

/** "left foot" for "left.foot". */
export const spoken = (name: string): string => name.replace(/[._]/g, " ");

export const capital = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1);

/** Words for a side: its letter. */
export const letter = (side: string): string => (side === "left" ? "L" : side === "right" ? "R" : "");

export const sideOf = (name: string): "left" | "right" | "middle" =>
  /^left\b/.test(name) || /[._]left$/.test(name) ? "left" : /^right\b/.test(name) || /[._]right$/.test(name) ? "right" : "middle";

/** How a control's channels are called in the notes; the rest are called by their own names. */
export function channelWords(channel: ChannelInfo, info: RigInfo): string {
  void info;
  return spoken(channel.quantity);
}
