/** Requests to the service: one session, one place where a lost line and an ended session are met. */

export interface Problem {
  readonly title: string;
  readonly detail?: string;
  readonly status: number;
  readonly field?: string;
}

export class ApiError extends Error {
  constructor(readonly problem: Problem) {
    super(problem.detail ?? problem.title);
  }
}

/** The line broke while something was to be changed; nobody knows whether it was. */
export class LineLost extends Error {}

export interface Session {
  readonly name: string;
  readonly role: "technician" | "coordinator" | "quality-officer" | "administrator";
  readonly csrfToken: string;
}

type Waiter = () => void;

class Api {
  session: Session | null = null;
  /** Asks the person to sign in again; the request that needed it goes on afterwards. */
  renew: () => Promise<void> = () => Promise.reject(new Error("no session"));
  onLine: (there: boolean) => void = () => undefined;
  #waiting: Waiter[] = [];
  #lost = false;
  #renewing: Promise<void> | null = null;

  async get<T>(path: string): Promise<T> {
    return (await this.answer(path)).json() as Promise<T>;
  }

  async bytes(path: string, signal?: AbortSignal): Promise<ArrayBuffer> {
    return (await this.answer(path, signal ? { signal } : {})).arrayBuffer();
  }

  async send<T>(method: string, path: string, body?: unknown, headers: Record<string, string> = {}): Promise<T> {
    const answer = await this.answer(path, {
      method,
      headers: { ...(body === undefined ? {} : { "Content-Type": "application/json" }), ...headers },
      ...(body === undefined ? {} : { body: JSON.stringify(body) }),
    });
    const text = await answer.text();
    return (text ? JSON.parse(text) : undefined) as T;
  }

  /** An answer that is 2xx (or 304); all else throws. Reading waits for a broken line, changing does not. */
  async answer(path: string, init: RequestInit = {}): Promise<Response> {
    const reads = (init.method ?? "GET") === "GET";
    for (;;) {
      let answer: Response;
      try {
        const headers = new Headers(init.headers);
        if (!reads && this.session) headers.set("X-CSRF-Token", this.session.csrfToken);
        answer = await fetch(path.startsWith("/") ? path : `/api/v1/${path}`, { ...init, headers });
      } catch (e) {
        if (init.signal?.aborted) throw e;
        const back = this.#back();
        if (!reads) throw new LineLost();
        await back;
        continue;
      }
      if (answer.status === 401 && this.session && !path.endsWith("session")) {
        this.#renewing ??= this.renew().finally(() => (this.#renewing = null));
        await this.#renewing;
        continue;
      }
      if (answer.status === 429) {
        await new Promise((r) => setTimeout(r, 500));
        continue;
      }
      if (answer.ok || answer.status === 304) return answer;
      throw new ApiError(await problemOf(answer));
    }
  }

  /** What the service has to work out first: asked for again until it is there. */
  async waited(path: string, everyMs: number, signal: AbortSignal, whileWaiting: () => void = () => undefined): Promise<Response> {
    for (;;) {
      const answer = await this.answer(path, { signal });
      if (answer.status !== 202) return answer;
      whileWaiting();
      await new Promise((r) => setTimeout(r, everyMs));
      signal.throwIfAborted();
    }
  }

  /** Resolves when the service answers again. */
  #back(): Promise<void> {
    const back = new Promise<void>((resolve) => this.#waiting.push(resolve));
    if (!this.#lost) {
      this.#lost = true;
      this.onLine(false);
      void this.#listen();
    }
    return back;
  }

  async #listen(): Promise<void> {
    for (;;) {
      await new Promise((r) => setTimeout(r, 1000));
      try {
        if ((await fetch("/health/live")).ok) break;
      } catch {
        // Not yet.
      }
    }
    this.#lost = false;
    this.onLine(true);
    for (const go of this.#waiting.splice(0)) go();
  }
}

async function problemOf(answer: Response): Promise<Problem> {
  try {
    return { status: answer.status, ...((await answer.json()) as Omit<Problem, "status">) };
  } catch {
    return { status: answer.status, title: `${answer.status} ${answer.statusText}` };
  }
}

export const api = new Api();
