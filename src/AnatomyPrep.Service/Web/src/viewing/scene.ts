/** What all panes of a workspace share: one point, one grey window, one set of marks. */

import type { V3 } from "./space";

export type Tool = "point" | "grey" | "move" | "measure" | "pick";

export interface Window {
  /** HU in the middle of the grey scale. */
  readonly levelHu: number;
  /** HU from black to white. */
  readonly widthHu: number;
}

/** Windows by the trade's names: common practice, no source. */
export const WINDOWS: Readonly<Record<"bone" | "soft" | "lung" | "brain", Window>> = {
  bone: { levelHu: 500, widthHu: 2000 },
  soft: { levelHu: 40, widthHu: 400 },
  lung: { levelHu: -600, widthHu: 1500 },
  brain: { levelHu: 40, widthHu: 80 },
};

export interface Measure {
  readonly from: V3;
  readonly to: V3;
}

export interface Mark {
  readonly at: V3;
  readonly label: string;
}

export interface SceneState {
  readonly point: V3;
  readonly window: Window;
  /** Samples in it are tinted; null for none. */
  readonly bandHu: readonly [number, number] | null;
  readonly outlines: boolean;
  readonly smooth: boolean;
  readonly tool: Tool;
  readonly measures: readonly Measure[];
  readonly marks: readonly Mark[];
}

export class Scene {
  #state: SceneState;
  #listeners = new Set<(state: SceneState, changed: ReadonlySet<keyof SceneState>) => void>();
  /** Called with a point when the tool is "pick". */
  picked: (at: V3) => void = () => undefined;

  constructor(point: V3) {
    this.#state = { point, window: WINDOWS.bone, bandHu: null, outlines: true, smooth: true, tool: "point", measures: [], marks: [] };
  }

  get state(): SceneState {
    return this.#state;
  }

  set(change: Partial<SceneState>): void {
    this.#state = { ...this.#state, ...change };
    const changed = new Set(Object.keys(change) as (keyof SceneState)[]);
    for (const listener of this.#listeners) listener(this.#state, changed);
  }

  watch(listener: (state: SceneState, changed: ReadonlySet<keyof SceneState>) => void): void {
    this.#listeners.add(listener);
  }
}
