// The notes: what is held, its channels with their values and ranges, and what to hold next.
import { useEffect, useRef, useState } from "preact/hooks";
import { bench } from "./bench";
import type { ChannelInfo } from "./messages";
import { useBench } from "./use";
import { capital, channelWords, fixed, sideOf, spoken, typedValue, valueWords } from "./words";

const ORDER = ["roll", "bank", "twist", "pitch", "bend", "hold", "across", "up", "along", "yaw", "lean"];

/** Handlers of the field that is open for typing, so that keys pressed on a drawing can open it. */
export const typing: { open: ((first: string) => void) | null } = { open: null };

export function Notes() {
  const b = useBench();
  const rig = b.rig;
  if (!rig) return <section class="notes" aria-label="Notes" />;
  const channels = [...rig.channelsOf(b.held)].sort((p, q) => rank(p) - rank(q));
  const side = sideOf(b.held);
  const leg = rig.legOf(b.held);
  const own = leg && b.held === `${leg.name}.foot` ? ["ball", "toes"].flatMap((part) => rig.channelsOf(`${leg.name}.${part}`)) : [];
  const shown = [...channels, ...own];
  return (
    <section class="notes" aria-label="What is held">
      <h2 class={`title ${side}`}>{capital(spoken(b.held))}</h2>
      <p class="caption">{heldWords()}</p>
      <div class="channels">
        {shown.map((channel) => (
          <ChannelRow key={channel.name} channel={channel} words={channel.control === b.held ? channelWords(channel, rig.info) : `${channel.control.split(".").pop()!} ${spoken(channel.quantity)}`} />
        ))}
      </div>
      <Next />
    </section>
  );
}

const rank = (channel: ChannelInfo): number => {
  const at = ORDER.indexOf(channel.quantity);
  return at < 0 ? ORDER.length : at;
};

function heldWords(): string {
  const away = bench.rig!.channelsOf(bench.held).filter((channel) => Math.abs(bench.value(channel.name) - channel.default) > 1e-9).length;
  if (bench.step === "move" && bench.state?.score) return "what is changed becomes a key";
  return away ? `${away} of its values away from rest` : "at rest";
}

function ChannelRow({ channel, words }: { channel: ChannelInfo; words: string }) {
  const b = bench;
  const [text, setText] = useState<string | null>(null);
  const [wrong, setWrong] = useState("");
  const field = useRef<HTMLInputElement>(null);
  const value = b.value(channel.name);
  const mm = b.rig!.info.mm;
  const [number, unit] = valueWords(channel, value, mm);
  const chosen = channel.control === b.held && b.quantity === channel.quantity;
  const side = sideOf(channel.control);
  const low = channel.unit === "length" ? Math.max(channel.low, channel.default - b.rig!.info.leg_length) : channel.low;
  const high = channel.unit === "length" ? Math.min(channel.high, channel.default + b.rig!.info.leg_length) : channel.high;
  const share = (at: number): number => (100 * (Math.min(Math.max(at, low), high) - low)) / (high - low || 1);
  useEffect(() => {
    if (text !== null) field.current?.focus();
  }, [text !== null]);
  if (chosen)
    typing.open = (first) => {
      setWrong("");
      setText(first);
    };

  const accept = (): void => {
    if (text === null) return;
    const wish = typedValue(text, channel, mm);
    if (wish === null) {
      setWrong(`“${text}” is no number: stays ${number} ${unit}`);
      setText(null);
      return;
    }
    if (wish > channel.high || wish < channel.low) {
      const [bound, boundUnit] = valueWords(channel, wish > channel.high ? channel.high : channel.low, mm);
      setWrong(`${bound}${boundUnit} is the ${wish > channel.high ? "most" : "least"}: stays ${number}${unit}`);
      setText(null);
      return;
    }
    setText(null);
    setWrong("");
    b.set(channel.name, wish, true);
  };

  const drag = (event: PointerEvent): void => {
    const target = event.currentTarget as HTMLElement;
    const box = target.getBoundingClientRect();
    target.setPointerCapture(event.pointerId);
    choose();
    b.dragging = true;
    const from = value;
    const first = event.clientX;
    let moved = false;
    const move = (e: PointerEvent): void =>
      b.timed(() => {
        const travel = ((e.clientX - first) / box.width) * (high - low) * (e.shiftKey ? 0.1 : 1);
        moved ||= Math.abs(e.clientX - first) > 1;
        const step = channel.unit === "deg" ? 5 : 0.01;
        const wish = from + travel;
        if (moved) b.set(channel.name, e.ctrlKey ? Math.round(wish / step) * step : wish, false);
      });
    const up = (): void => {
      target.removeEventListener("pointermove", move);
      target.removeEventListener("pointerup", up);
      b.dragging = false;
      if (moved) b.commit(`${spoken(channel.quantity)}, ${spoken(channel.control)}`, [channel.control]);
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
  };
  const choose = (): void => {
    if (channel.control === b.held) b.hold(b.held, channel.quantity);
  };

  const from = share(channel.default), to = share(value);
  return (
    <div class={`channel${chosen ? " chosen" : ""}`} title={channel.sentence}>
      <span class="channel-name">{words}</span>
      <span
        class="channel-rule" role="slider" tabindex={0} data-channel={channel.name} data-drawing="channel" aria-label={`${words}, ${spoken(channel.control)}. ${channel.sentence}`}
        aria-valuemin={channel.low} aria-valuemax={channel.high} aria-valuenow={Number(value.toFixed(4))} aria-valuetext={`${number} ${unit === "°" ? "degrees" : unit}`}
        onPointerDown={drag} onFocus={choose}
      >
        <i style={{ left: `${from}%` }} class="zero" />
        <i style={{ left: `${Math.min(from, to)}%`, width: `${Math.abs(to - from)}%` }} class={`span ${side}`} />
        <i style={{ left: `${to}%` }} class={`now ${side}${chosen ? " chosen" : ""}`} />
      </span>
      {text === null ? (
        <button
          class={`channel-value${Math.abs(value - channel.default) > 1e-9 ? ` ${side} away` : ""}`} aria-label={`${words} ${number} ${unit}: type a number`} data-value={channel.name}
          onClick={() => {
            choose();
            setWrong("");
            setText(number.replace("−", "-"));
          }}
        >
          {number}<small>{unit === "°" ? "°" : ` ${unit}`}</small>
        </button>
      ) : (
        <input
          ref={field} class="channel-field" value={text} aria-label={`${words}, in ${unit || "a share"}`} inputMode="decimal"
          onInput={(event) => setText((event.target as HTMLInputElement).value)}
          onKeyDown={(event) => {
            if (event.key === "Enter") accept();
            else if (event.key === "Escape") setText(null);
            event.stopPropagation();
          }}
          onBlur={accept}
        />
      )}
      {wrong ? <span class="channel-wrong short" role="alert">{wrong}</span> : chosen && <span class="channel-range note">{rangeWords(channel, mm)}</span>}
    </div>
  );
}

function rangeWords(channel: ChannelInfo, mm: boolean): string {
  if (channel.unit === "deg") return `${fixed(channel.low, 0)} to ${fixed(channel.high, 0)}°`;
  const [low] = valueWords(channel, channel.low, mm);
  const [high, unit] = valueWords(channel, channel.high, mm);
  return `${low} to ${high} ${unit}`;
}

function Next() {
  const rig = bench.rig!;
  const legs = new Set(rig.info.legs.map((leg) => leg.name));
  const legControls = rig.controls.filter((control) => legs.has(control.slice(0, control.lastIndexOf("."))));
  const rest = rig.controls.filter((control) => !legControls.includes(control) && control !== "root" && control !== "pelvis");
  const groups: [string, string[]][] = [["middle", ["pelvis", "root"].filter((one) => rig.controls.includes(one))]];
  for (const leg of rig.info.legs) groups.push([leg.side, legControls.filter((control) => control.startsWith(`${leg.name}.`))]);
  return (
    <div class="next">
      <p class="note">to hold next</p>
      {groups.map(([side, controls], i) => (
        <p key={i} class={side}>
          {controls.map((control, n) => (
            <button key={control} class="word" data-control={control} aria-pressed={control === bench.held} onClick={() => bench.hold(control)}>
              {n && side !== "middle" ? control.split(".").pop() : spoken(control)}
            </button>
          ))}
        </p>
      ))}
      {rest.length > 0 && (
        <label class="note">
          the rest of the body{" "}
          <select value={rest.includes(bench.held) ? bench.held : ""} onChange={(event) => bench.hold((event.target as HTMLSelectElement).value)}>
            <option value="">choose a part</option>
            {rest.map((control) => (
              <option key={control} value={control}>{spoken(control)}</option>
            ))}
          </select>
        </label>
      )}
    </div>
  );
}
