import { describe, expect, it } from "vitest";
import { Link, type Socket } from "../src/link";
import type { Ask, State } from "../src/messages";

class Line implements Socket {
  onopen: (() => void) | null = null;
  onmessage: ((event: { data: string }) => void) | null = null;
  onclose: (() => void) | null = null;
  sent: Ask[] = [];
  send(text: string): void { this.sent.push(JSON.parse(text) as Ask); }
  close(): void {}
  state(): void { this.onmessage!({ data: JSON.stringify({ kind: "state", revision: 1 }) }); }
  done(ask: number): void { this.onmessage!({ data: JSON.stringify({ kind: "done", ask, told: [] }) }); }
}

function made() {
  const lines: Line[] = [];
  const states: State[] = [];
  const heard: boolean[] = [];
  const faults: string[] = [];
  const later: (() => void)[] = [];
  const link = new Link(() => { lines.push(new Line()); return lines[lines.length - 1]!; }, { state: (s) => states.push(s), connected: (yes) => heard.push(yes), fault: (one) => faults.push(one.seen) }, (run) => later.push(run));
  const open = (): Line => { const line = lines[lines.length - 1]!; line.onopen!(); line.state(); return line; };
  return { link, lines, states, heard, faults, later, open };
}

const pose = (n: number) => ({ kind: "set_pose" as const, what: "roll", pose: { "left.foot.roll": n } });

describe("the line to the server", () => {
  it("sends one ask at a time, in order", async () => {
    const { link, open } = made();
    const line = open();
    const first = link.ask(pose(1));
    void link.ask(pose(2));
    expect(line.sent.map((ask) => ask.ask)).toEqual([1]);
    line.done(1);
    expect((await first).kind).toBe("done");
    expect(line.sent.map((ask) => ask.ask)).toEqual([1, 2]);
  });
  it("waits for a lost server, dials again, and asks again what says how things shall be", () => {
    const { link, lines, later, heard, open } = made();
    const line = open();
    void link.ask(pose(1));
    line.onclose!();
    void link.ask(pose(2));
    expect(link.pending).toBe(2);
    expect(heard).toEqual([true, false]);
    later.pop()!();
    const next = lines[1]!;
    next.onopen!();
    next.state();
    expect(next.sent.map((ask) => ask.ask)).toEqual([1]);
    next.done(1);
    expect(next.sent.map((ask) => ask.ask)).toEqual([1, 2]);
    next.done(2);
    expect(link.pending).toBe(0);
  });
  it("passes on a fault that nobody asked for", () => {
    const { faults, open } = made();
    open().onmessage!({ data: JSON.stringify({ kind: "fault", ask: 0, seen: "the checks failed", where: "", expected: "", cure: "" }) });
    expect(faults).toEqual(["the checks failed"]);
  });
  it("does not ask twice what would then be done twice", async () => {
    const { link, open } = made();
    const line = open();
    const undone = link.ask({ kind: "undo", again: false });
    line.onclose!();
    const answer = await undone;
    expect(answer).toMatchObject({ kind: "fault", seen: "the server went away while this was being done" });
    expect(link.pending).toBe(0);
  });
});
