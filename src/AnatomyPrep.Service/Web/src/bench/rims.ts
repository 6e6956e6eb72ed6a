/** The open rims of a finished model, to be pointed at instead of named by number. */

import { api } from "../api";
import { length, sub, V3 } from "../viewing/space";

const ASK_AGAIN_MS = 300;

/** As the program's check lists it, in millimetres of the model. */
export interface Rim {
  readonly number: number;
  readonly centerMm: V3;
  readonly diameterMm: number;
}

export async function rimsOf(job: string, signal: AbortSignal): Promise<readonly Rim[]> {
  return (await (await api.waited(`jobs/${job}/values/holes`, ASK_AGAIN_MS, signal)).json()) as readonly Rim[];
}

/** The rim that is meant by a place: whose ball it is nearest to, or deepest in. */
export function rimAt(rims: readonly Rim[], at: V3): Rim | null {
  const far = (rim: Rim) => length(sub(at, rim.centerMm)) - rim.diameterMm / 2;
  return rims.reduce<Rim | null>((best, rim) => (best && far(best) <= far(rim) ? best : rim), null);
}

/** Numbers of holes with one more, or without it where it was among them. */
export function toggled(numbers: unknown, rim: Rim): readonly number[] | undefined {
  const now = Array.isArray(numbers) ? (numbers as readonly number[]) : [];
  const to = now.includes(rim.number) ? now.filter((n) => n !== rim.number) : [...now, rim.number].sort((a, b) => a - b);
  return to.length > 0 ? to : undefined;
}
