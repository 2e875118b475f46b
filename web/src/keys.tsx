// The keyboard: what each key does while a drawing has the focus, and the list of them.
import { bench, STEPS } from "./bench";
import { typing } from "./notes";
import { naming, restAll } from "./steps";
import { useBench } from "./use";

const PARTS: Record<string, string> = { f: "foot", h: "heel", b: "ball", o: "toes", t: "tip", k: "knee" };

export const KEYS: [string, string][] = [
  ["Tab", "walks the page; on a drawing, the arrows act on what is held"],
  ["L, R", "the same part on that side"],
  ["F, H, B, O, T, K, P", "foot, heel, ball, toes, tip, knee, pelvis"],
  ["up, down", "change the value; Shift a tenth, Control ten times"],
  ["left, right", "the next value of what is held"],
  ["digits, minus", "type the value; Enter accepts, Escape restores"],
  ["Backspace", "the value to rest; with Shift all"],
  ["M, X, N", "mirror, swap sides, name the pose"],
  ["Z", "undo; with Shift again"],
  ["[ and ]", "the step before and after"],
  [", and .", "a frame back and on"],
  ["space", "play"],
  ["?", "this list"],
];

export function listen(): void {
  document.addEventListener("keydown", () => (document.documentElement.dataset.keys = ""), true);
  document.addEventListener("pointerdown", () => delete document.documentElement.dataset.keys, true);
  document.addEventListener("keydown", (event) => {
    const target = event.target as HTMLElement;
    if (target.matches("input, select, textarea")) return;
    const system = event.ctrlKey || event.metaKey;
    if (system && event.key.toLowerCase() === "z") {
      event.preventDefault();
      bench.undo(event.shiftKey);
      return;
    }
    if (system && event.key.toLowerCase() === "y") {
      event.preventDefault();
      bench.undo(true);
      return;
    }
    if (!target.closest("[data-drawing]") && !target.matches("[data-control]")) return;
    if (bench.timedKey(() => act(event, system))) event.preventDefault();
  });
}

function act(event: KeyboardEvent, system: boolean): boolean {
  const rig = bench.rig;
  if (!rig) return false;
  const key = event.key;
  const channels = rig.channelsOf(bench.held);
  const channel = channels.find((one) => one.quantity === bench.quantity);
  if (key === "ArrowUp" || key === "ArrowDown") {
    if (!channel || bench.step === "measure") return false;
    const base = channel.unit === "deg" ? 1 : channel.unit === "share" ? 0.01 : rig.info.mm ? 0.001 : 0.003 * rig.info.leg_length;
    const step = base * (event.shiftKey ? 0.1 : event.ctrlKey ? 10 : 1) * (key === "ArrowUp" ? 1 : -1);
    bench.set(channel.name, bench.value(channel.name) + step, false);
    bench.commitSoon(`${channel.quantity}, ${bench.held}`);
    return true;
  }
  if (key === "ArrowLeft" || key === "ArrowRight") {
    const at = channels.findIndex((one) => one.quantity === bench.quantity);
    const next = channels[(at + (key === "ArrowRight" ? 1 : channels.length - 1)) % channels.length];
    if (next) bench.hold(bench.held, next.quantity);
    return true;
  }
  if (system || event.altKey) return false;
  if (/^[0-9.\-]$/.test(key) && key !== "." && typing.open) {
    typing.open(key);
    return true;
  }
  switch (key) {
    case "Backspace":
      if (event.shiftKey) restAll();
      else if (channel) bench.set(channel.name, channel.default, true);
      return true;
    case "z": case "Z":
      bench.undo(event.shiftKey);
      return true;
    case "[": case "]": {
      const at = STEPS.indexOf(bench.step) + (key === "]" ? 1 : -1);
      bench.open(STEPS[Math.min(Math.max(at, 0), STEPS.length - 1)]!);
      return true;
    }
    case ",": case ".":
      bench.stepFrame(key === "." ? 1 : -1);
      return true;
    case " ":
      bench.play();
      return true;
    case "?":
      bench.keysShown = !bench.keysShown;
      bench.tell();
      return true;
    case "Escape":
      bench.keysShown = false;
      bench.said = null;
      bench.tell();
      return true;
  }
  const small = key.toLowerCase();
  const leg = rig.legOf(bench.held) ?? rig.info.legs[0];
  const part = leg ? bench.held.slice(leg.name.length + 1) : "";
  if (small === "l" || small === "r") {
    const side = small === "l" ? "left" : "right";
    const name = leg?.name.replace(/^(left|right)/, side);
    const control = `${name}.${rig.legOf(bench.held) ? part : "foot"}`;
    if (rig.controls.includes(control)) bench.hold(control);
    return true;
  }
  if (small === "p") {
    bench.hold("pelvis");
    return true;
  }
  if (PARTS[small] && leg) {
    const control = `${leg.name}.${PARTS[small]}`;
    if (rig.controls.includes(control)) bench.hold(control);
    else bench.say(`This rig has no control ${control.replace(".", " ")}`, "Build with full controls to have it", false);
    return true;
  }
  if (small === "m" || small === "x") {
    if (leg) void bench.ask({ kind: "mirror", leg: leg.name, swap: small === "x" });
    return true;
  }
  if (small === "n") {
    bench.open("pose");
    window.setTimeout(() => naming.open?.(), 0);
    return true;
  }
  return false;
}

export function KeyList() {
  const b = useBench();
  if (!b.keysShown) return null;
  return (
    <section class="key-list" aria-label="Keys">
      <h2>Keys <em>while a drawing has the focus</em></h2>
      <dl>
        {KEYS.map(([key, words]) => (
          <>
            <dt key={key}>{key}</dt>
            <dd>{words}</dd>
          </>
        ))}
      </dl>
      <button class="act" onClick={() => { bench.keysShown = false; bench.tell(); }}>put away</button>
    </section>
  );
}
