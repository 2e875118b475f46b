// The line to the server: asks go out one after another, the state comes in; a lost server is waited for.
import type { Ask, Done, Fault, State, Told } from "./messages";

type WithoutNumber<T> = T extends unknown ? Omit<T, "ask"> : never;
export type Wish = WithoutNumber<Ask>;

export interface Socket {
  onopen: (() => void) | null;
  onmessage: ((event: { data: string }) => void) | null;
  onclose: (() => void) | null;
  send(text: string): void;
  close(): void;
}

export interface Listener {
  state(state: State): void;
  connected(yes: boolean): void;
  /** Something went wrong that no ask is waiting for. */
  fault(fault: Fault): void;
}

interface Waiting {
  ask: number;
  wish: Wish;
  settle(answer: Done | Fault): void;
}

/** Asks that say how things shall be, and so may be asked twice. */
const REPEATABLE = new Set(["set_pose", "set_landmark", "set_tuned", "build", "keep_pose", "drop_pose", "set_score", "take_exercise", "prove", "open", "outside", "hand_over"]);

/** Asks that are not answered are asked again when the server is back: each is written once or not at all. */
export class Link {
  private socket: Socket | null = null;
  private open = false;
  private next = 1;
  private waiting: Waiting[] = [];
  private sent = 0;
  private pause = 250;

  constructor(
    private readonly connect: () => Socket,
    private readonly listener: Listener,
    private readonly later: (run: () => void, ms: number) => void = (run, ms) => void setTimeout(run, ms),
  ) {
    this.dial();
  }

  /** How many changes wait to be written. */
  get pending(): number {
    return this.waiting.length;
  }

  ask(wish: Wish): Promise<Done | Fault> {
    return new Promise((settle) => {
      const last = this.waiting[this.waiting.length - 1];
      // While the server is away a person goes on posing: what is meant is where it ends.
      if (!this.open && wish.kind === "set_pose" && last?.wish.kind === "set_pose" && this.waiting.length > 40) {
        this.waiting.pop();
        last.settle({ kind: "done", ask: last.ask, told: [] });
      }
      this.waiting.push({ ask: this.next++, wish, settle });
      this.flush();
    });
  }

  private dial(): void {
    const socket = this.connect();
    this.socket = socket;
    socket.onopen = () => {
      this.open = true;
      this.sent = 0;
      this.pause = 250;
      this.listener.connected(true);
    };
    socket.onmessage = (event) => this.hear(JSON.parse(event.data) as Told);
    socket.onclose = () => {
      if (this.socket !== socket) return;
      const first = this.waiting[0];
      if (this.sent && first && !REPEATABLE.has(first.wish.kind)) {
        this.waiting.shift();
        first.settle({ kind: "fault", ask: first.ask, seen: "the server went away while this was being done", where: "", expected: "", cure: "See whether it was done, and ask again if not" });
      }
      this.open = false;
      this.sent = 0;
      this.listener.connected(false);
      this.later(() => this.dial(), this.pause);
      this.pause = Math.min(this.pause * 1.5, 3000);
    };
  }

  /** The first state is heard before anything is asked, so that asks meet the project that they were meant for. */
  private hear(told: Told): void {
    if (told.kind === "state") {
      this.listener.state(told);
      this.flush();
      return;
    }
    const first = this.waiting.findIndex((one) => one.ask === told.ask);
    if (first < 0) {
      if (told.kind === "fault") this.listener.fault(told);
      return;
    }
    const [answered] = this.waiting.splice(first, 1);
    this.sent = Math.max(this.sent - 1, 0);
    answered!.settle(told);
    this.flush();
  }

  private flush(): void {
    if (!this.open || this.sent > 0) return; // one at a time: each ask is answered before the next goes out
    const first = this.waiting[0];
    if (!first) return;
    this.sent = 1;
    this.socket!.send(JSON.stringify({ ...first.wish, ask: first.ask }));
  }
}

export function browserSocket(): Socket {
  const address = new URL("talk", document.baseURI);
  address.protocol = address.protocol.replace("http", "ws");
  return new WebSocket(address) as unknown as Socket;
}
