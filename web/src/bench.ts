// What is open on the page: the server's state, the rig, the live pose, what is held. One object, told to all who draw.
import { invert, snapped } from "./invert";
import { browserSocket, Link, type Wish } from "./link";
import type { ChannelInfo, Fault, State, StepState } from "./messages";
import { fetchRig, RigModel } from "./rigmodel";
import { frameTime, scoreAt, withKey } from "./score";
import { spoken } from "./words";

export type Step = StepState["name"];
export const STEPS: Step[] = ["measure", "build", "pose", "prove", "move", "hand over"];

export interface Said {
  text: string;
  cure: string;
  bad: boolean;
}

export class Bench {
  state: State | null = null;
  rig: RigModel | null = null;
  step: Step = "pose";
  values: Float64Array = new Float64Array(0);
  changes: Float32Array = new Float32Array(0);
  held = "";
  quantity = "";
  hover = "";
  mark = "";
  connected = false;
  lostAt = "";
  said: Said | null = null;
  time = 0;
  playing = false;
  busy = "";
  check = "";
  dragging = false;
  keysShown = false;
  trying: string[] | null = null;
  /** Milliseconds of scripting from pointer events to drawn frames, the latest last. */
  readonly timings: number[] = [];
  private scripting = 0;
  private watchers = new Set<() => void>();
  private painters = new Set<(moved: boolean) => void>();
  private announced = 0;
  private soon = 0;
  private painting = 0;
  private moved = false;
  private fetching = false;
  readonly link: Link;

  constructor() {
    this.link = new Link(browserSocket, {
      state: (state) => void this.hear(state),
      fault: (fault) => this.fault(fault),
      connected: (yes) => {
        this.connected = yes;
        this.lostAt = yes ? "" : this.lostAt || (this.state?.written_at ?? "");
        this.tell();
      },
    });
  }

  // Who draws.

  watch(watcher: () => void): () => void {
    this.watchers.add(watcher);
    return () => void this.watchers.delete(watcher);
  }

  /** Call before each frame in which something has changed; `moved` says whether the pose or the view did. */
  onPaint(painter: (moved: boolean) => void): () => void {
    this.painters.add(painter);
    return () => void this.painters.delete(painter);
  }

  tell(): void {
    for (const watcher of this.watchers) watcher();
    this.paint(false);
  }

  paint(moved: boolean): void {
    this.moved ||= moved;
    if (this.painting) return;
    this.painting = requestAnimationFrame(() => {
      const start = performance.now();
      this.painting = 0;
      const was = this.moved;
      this.moved = false;
      for (const painter of this.painters) painter(was);
      if (this.scripting) {
        this.timings.push(this.scripting + performance.now() - start);
        if (this.timings.length > 2000) this.timings.shift();
        this.scripting = 0;
      }
    });
  }

  /** Run a pointer handler, and count its time. */
  timed(handler: () => void): void {
    const start = performance.now();
    handler();
    this.scripting += performance.now() - start;
  }

  /** The same for a key; returns what the handler does. */
  timedKey(handler: () => boolean): boolean {
    const start = performance.now();
    const done = handler();
    this.scripting += performance.now() - start;
    return done;
  }

  /** Write what the keys have changed, once they rest. */
  commitSoon(what: string): void {
    window.clearTimeout(this.soon);
    this.dragging = true;
    this.soon = window.setTimeout(() => {
      this.dragging = false;
      this.commit(spoken(what));
    }, 350);
  }

  // What the server says.

  private async hear(state: State): Promise<void> {
    const before = this.state;
    this.state = state;
    if (!state.rig_file) {
      this.rig = null;
      this.tell();
      return;
    }
    const other = before !== null && before.rig_file !== state.rig_file;
    if (!this.rig || this.rig.info.rig_revision !== state.rig_revision || other) await this.fetchRig();
    this.takePose();
    this.tell();
  }

  /** Fetch the rig until it is the one that the state speaks of; a second call waits for nothing. */
  private async fetchRig(): Promise<void> {
    if (this.fetching) return;
    this.fetching = true;
    let faults = 0;
    let done = false;
    while (!done && faults < 6) {
      const wanted = this.state!;
      try {
        const rig = await fetchRig();
        done = rig.info.rig_revision === this.state!.rig_revision && wanted.rig_file === this.state!.rig_file;
        if (done) this.takeRig(rig);
      } catch (error) {
        faults += 1; // the rig was built anew meanwhile, or the server went: a moment later it is there
        if (faults === 6) this.say(`The rig could not be fetched: ${(error as Error).message}`, "Reload the page", true);
        await new Promise((go) => setTimeout(go, 120 * faults));
      }
    }
    this.fetching = false;
  }

  private takeRig(rig: RigModel): void {
    // What a person is just doing goes on, by the names of its channels.
    const live = this.rig && (this.dragging || this.link.pending > 0) ? this.rig.pose(this.values) : (this.state?.pose ?? {});
    this.rig = rig;
    this.changes = new Float32Array(12 * rig.info.joints.length);
    if (!rig.controls.includes(this.held)) {
      const first = rig.info.legs[0];
      this.hold(first ? `${first.name}.foot` : (rig.controls[0] ?? ""));
    }
    this.values = rig.values(live);
    this.moved = true;
  }

  /** Take the server's pose, unless a person is just making another or the score says where things are. */
  private takePose(): void {
    if (!this.rig || !this.state || this.dragging || this.link.pending > 0) return;
    if (this.step === "measure") this.setValues(this.rig.defaults.slice());
    else if (this.step === "prove" && this.check) this.showFinding(this.check);
    else if (this.step === "move" && this.state.score) this.showTime(this.time);
    else this.setValues(this.rig.values(this.state.pose));
  }

  setValues(values: Float64Array): void {
    this.values = values;
    this.moved = true;
    this.paint(true);
  }

  // What a person asks for.

  async ask(wish: Wish, busy = ""): Promise<boolean> {
    if (busy) this.busy = busy;
    const asked = this.link.ask(wish);
    this.tell();
    const answer = await asked;
    this.busy = "";
    if (answer.kind === "fault") this.fault(answer);
    else if (answer.told.length) this.say(answer.told.join(" "), "", false);
    else if (this.said?.bad) this.said = null;
    if (this.state && !this.dragging) this.takePose();
    this.tell();
    return answer.kind === "done";
  }

  private fault(fault: Fault): void {
    this.say(`${fault.where ? `${fault.where}: ` : ""}${fault.seen}${fault.expected ? `; expected ${fault.expected}` : ""}.`, fault.cure, true);
  }

  say(text: string, cure: string, bad: boolean): void {
    this.said = { text, cure, bad };
    this.tell();
  }

  open(step: Step): void {
    this.step = step;
    this.playing = false;
    this.takePose();
    if (step !== "build") this.trying = null;
    this.tell();
  }

  hold(control: string, quantity = ""): void {
    this.held = control;
    const channels = this.rig?.channelsOf(control) ?? [];
    if (quantity) this.quantity = quantity;
    else if (!channels.some((channel) => channel.quantity === this.quantity))
      this.quantity = (channels.find((channel) => channel.quantity === "roll") ?? channels[0])?.quantity ?? "";
    this.tell();
  }

  channel(name: string): ChannelInfo | undefined {
    const i = this.rig?.index.get(name);
    return i === undefined ? undefined : this.rig!.info.channels[i];
  }

  value(name: string): number {
    return this.values[this.rig?.index.get(name) ?? -1] ?? 0;
  }

  /** Set a channel here; `commit` also writes it. */
  set(name: string, value: number, commit: boolean): void {
    const rig = this.rig;
    const i = rig?.index.get(name);
    if (!rig || i === undefined) return;
    const channel = rig.info.channels[i]!;
    const values = this.values.slice();
    values[i] = Math.min(Math.max(value, channel.low), channel.high);
    this.setValues(values);
    if (commit) this.commit(`${spoken(channel.quantity)}, ${spoken(channel.control)}`);
    else this.tell();
  }

  /** Write the live pose as it is: into the pose, or as keys of the score. */
  commit(what: string, controls: string[] = [this.held]): void {
    const rig = this.rig;
    if (!rig || !this.state) return;
    this.announce();
    if (this.step === "move" && this.state.score) {
      let score = this.state.score;
      for (const control of controls) {
        const values: Record<string, number> = {};
        const has = new Set((score.keys[control] ?? []).flatMap((key) => Object.keys(key.values)));
        for (const channel of rig.channelsOf(control)) {
          const value = this.value(channel.name);
          if (value !== channel.default || has.has(channel.quantity)) values[channel.quantity] = value;
        }
        score = withKey(score, control, this.time, values);
      }
      void this.ask({ kind: "set_score", what: `key: ${what}`, score });
      return;
    }
    void this.ask({ kind: "set_pose", what, pose: rig.pose(this.values) });
  }

  /** Bring channels to values that bring a point to where it is wanted (pixels missing). */
  bring(channels: ChannelInfo[], miss: (values: Float64Array) => number[], snap: boolean): void {
    const rig = this.rig!;
    const values = this.values.slice();
    const unitStep = (channel: ChannelInfo): number => (channel.unit === "deg" ? 0.5 : channel.unit === "share" ? 0.01 : 0.005 * rig.info.leg_length);
    invert(
      values,
      {
        channels: channels.map((channel) => rig.index.get(channel.name)!),
        low: channels.map((channel) => channel.low),
        high: channels.map((channel) => channel.high),
        step: channels.map(unitStep),
      },
      miss,
    );
    if (snap) {
      for (const channel of channels) {
        const i = rig.index.get(channel.name)!;
        const step = channel.unit === "deg" ? 5 : channel.unit === "share" ? 0.1 : rig.info.mm ? 0.01 : 0.02 * rig.info.leg_length;
        values[i] = snapped(values[i]!, step, channel.low, channel.high);
      }
    }
    this.setValues(values);
  }

  /** Show the worst pose that a check has found; it is not written. */
  showFinding(check: string): void {
    const finding = this.state?.proof?.findings.find((one) => one.check === check);
    if (!this.rig || !finding) return;
    this.check = check;
    const leg = finding.leg && this.rig.leg(finding.leg) ? `${finding.leg}.foot` : this.held;
    if (leg !== this.held) this.hold(leg);
    this.setValues(this.rig.values(finding.pose));
  }

  undo(again: boolean): void {
    void this.ask({ kind: "undo", again });
  }

  // The score.

  showTime(time: number): void {
    const score = this.state?.score;
    if (!this.rig || !score) return;
    this.time = Math.min(Math.max(time, 0), score.duration_s);
    const values = this.rig.defaults.slice();
    for (const [name, value] of Object.entries(scoreAt(score, this.time))) {
      const i = this.rig.index.get(name);
      if (i !== undefined) values[i] = Math.min(Math.max(value, this.rig.info.channels[i]!.low), this.rig.info.channels[i]!.high);
    }
    this.setValues(values);
  }

  stepFrame(frames: number): void {
    const score = this.state?.score;
    if (!score) return;
    this.showTime(frameTime(score, this.time + frames / score.rate));
    this.tell();
  }

  play(): void {
    const score = this.state?.score;
    if (!score) return;
    this.playing = !this.playing;
    let last = performance.now();
    const turn = (now: number): void => {
      if (!this.playing || !this.state?.score) return;
      let time = this.time + (now - last) / 1000;
      last = now;
      if (time > score.duration_s) time %= score.duration_s;
      this.showTime(time);
      this.tell();
      requestAnimationFrame(turn);
    };
    if (this.playing) requestAnimationFrame(turn);
    this.tell();
  }

  /** Say the held values aloud once movement has stopped. */
  announce(): void {
    window.clearTimeout(this.announced);
    this.announced = window.setTimeout(() => {
      const region = document.getElementById("spoken");
      const channel = this.channel(`${this.held}.${this.quantity}`);
      if (region && channel) region.textContent = `${spoken(this.held)}, ${spoken(this.quantity)} ${this.value(channel.name).toFixed(channel.unit === "deg" ? 1 : 3)}`;
    }, 400);
  }
}

export const bench = new Bench();
