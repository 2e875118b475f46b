import { useEffect, useReducer } from "preact/hooks";
import { bench, type Bench } from "./bench";

/** The bench; the component is drawn again whenever it tells. */
export function useBench(): Bench {
  const [, again] = useReducer((n: number) => n + 1, 0);
  useEffect(() => bench.watch(() => again(undefined as never)), []);
  return bench;
}
