/** Tells that something changed in the service, as soon as it says so; where the stream breaks, by looking again now and then. */

import { api } from "./api";

const AGAIN_MS = 5000;

/** Calls at once, then after every change; until the signal ends. Calls never overlap. */
export function follow(signal: AbortSignal, load: () => Promise<void>, failed: (e: unknown) => void): void {
  let running = false;
  let wanted = false;
  const run = async () => {
    wanted = true;
    if (running) return;
    running = true;
    while (wanted && !signal.aborted) {
      wanted = false;
      try {
        await load();
      } catch (e) {
        if (!signal.aborted) failed(e);
      }
    }
    running = false;
  };
  let stream: EventSource | null = null;
  const listen = () => {
    if (signal.aborted) return;
    stream = new EventSource("/api/v1/changes");
    stream.addEventListener("change", () => void run());
    // What happened while nobody listened is read with the rest.
    stream.addEventListener("open", () => void run());
    stream.addEventListener("error", () => {
      stream?.close();
      // Asked the usual way: that waits for the line, and for a session that has ended.
      setTimeout(() => void api.get("session").then(listen, () => setTimeout(listen, AGAIN_MS)), AGAIN_MS);
    });
  };
  signal.addEventListener("abort", () => stream?.close());
  void run();
  listen();
}
