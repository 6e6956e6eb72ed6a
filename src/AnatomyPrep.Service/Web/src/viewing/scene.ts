/** What all panes of a workspace share: one point, one grey window, one set of marks and shapes, one tool. */

import type { V3 } from "./space";

export type Tool = "point" | "grey" | "move" | "measure" | "pick" | "draw";

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

/** Where a place is meant: a model that a step has moved is no longer where the images are. */
export type Where = "images" | "solid" | "both";

export interface Mark {
  readonly at: V3;
  readonly label: string;
  readonly where: Where;
}

/** What a step of the plan would do, drawn before it is done. */
export type Shape = { readonly where: Where } & (
  | { readonly kind: "plane"; readonly at: V3; readonly normal: V3 }
  | { readonly kind: "box"; readonly min: V3; readonly max: V3 }
  | { readonly kind: "path"; readonly points: readonly V3[]; readonly radiusMm: number }
  | { readonly kind: "ball"; readonly at: V3; readonly radiusMm: number });

/** A line drawn in a pane, by pointer or by keys. */
export interface Gesture {
  readonly pane: "slice" | "solid";
  readonly points: readonly V3[];
  /** x and y of each point in the pane, from -1 to 1, right and up. */
  readonly clip: readonly (readonly [number, number])[];
  /** Out of the screen, in the patient. */
  readonly toward: V3;
  /** Row by row: from patient millimetres to the pane's x, y, z, w; null on slices. */
  readonly clipFromPatient: readonly number[] | null;
}

export interface SceneState {
  readonly point: V3;
  readonly window: Window;
  /** Samples in it are tinted; null for none. */
  readonly bandHu: readonly [number, number] | null;
  readonly outlines: boolean;
  readonly smooth: boolean;
  readonly tool: Tool;
  /** What the tool is used for just now; null for what it says itself. */
  readonly task: string | null;
  readonly measures: readonly Measure[];
  /** Places of a step of the plan. */
  readonly marks: readonly Mark[];
  /** Places that people have pointed out. */
  readonly remarks: readonly Mark[];
  readonly shapes: readonly Shape[];
  /** Points of a line that is being drawn by keys. */
  readonly sketch: readonly V3[];
  /** Millimetres of the model for one of the patient: both are said of a measure where they differ. */
  readonly modelScale: number;
  /** The other model is shown in place of this one. */
  readonly before: boolean;
}

export class Scene {
  #state: SceneState;
  #listeners = new Set<(state: SceneState, changed: ReadonlySet<keyof SceneState>) => void>();
  /** Called with a point when the tool is "pick". */
  picked: (at: V3, pane: "slice" | "solid") => void = () => undefined;
  /** Called with a line when the tool is "draw". */
  drawn: (gesture: Gesture) => void = () => undefined;

  constructor(point: V3) {
    this.#state = { point, window: WINDOWS.bone, bandHu: null, outlines: true, smooth: true, tool: "point", task: null, measures: [], marks: [], remarks: [], shapes: [], sketch: [], modelScale: 1, before: false };
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

  /** Lets the tools do what they say again. */
  rest(): void {
    this.picked = () => undefined;
    this.drawn = () => undefined;
    this.set({ task: null, sketch: [], ...(this.#state.tool === "draw" || this.#state.tool === "pick" ? { tool: "point" as const } : {}) });
  }
}
