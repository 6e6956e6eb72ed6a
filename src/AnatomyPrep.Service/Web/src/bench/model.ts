/** A finished model as it is shown: where the images are, if the way back is known. */

import { api } from "../api";
import { fileOf, RunFacts } from "../jobs";
import { Frame } from "../viewing/frame";
import { readGlb, Surface } from "../viewing/glb";
import { catalogue } from "./steps";

export interface Model {
  readonly facts: RunFacts;
  readonly frame: Frame;
  /** Its surfaces lie where the images are. */
  readonly isPlaced: boolean;
  readonly surfaces: readonly Surface[];
}

export async function modelOf(job: string, signal: AbortSignal): Promise<Model> {
  const [facts, bytes, { steps }] = await Promise.all([api.get<RunFacts>(fileOf(job, "run.json")), api.bytes(fileOf(job, "model.glb"), signal), catalogue()]);
  const frame = Frame.of(facts.measurements.deviation?.modelFromPatient);
  const moved = facts.steps.some((s) => steps.find((o) => o.name === s.name)?.movesModel);
  // Without a known way back, or mirrored, it is shown as it lies.
  const isPlaced = !moved || (frame.moves && !frame.mirrors);
  return { facts, frame, isPlaced, surfaces: readGlb(bytes).map((s) => (isPlaced ? frame.backIntoPlace(s) : s)) };
}
