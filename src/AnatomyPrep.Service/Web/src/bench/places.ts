/** Which parameters of a step are places, and how each is given in the pictures. Known by the catalogue's own names and kinds, not by step. */

import { text } from "../text";
import type { Frame } from "../viewing/frame";
import type { Gesture, Mark, Shape, Where } from "../viewing/scene";
import { add, cross, dot, hundredths, length, mul, rounded, sub, unit, V3 } from "../viewing/space";
import type { Step } from "./draft";
import type { ParameterSchema, StepSchema } from "./steps";

type Values = Readonly<Record<string, unknown>>;

/** One way to give a step its places. */
export interface Placing {
  readonly label: string;
  readonly hint: string;
  /** Tool that does it. */
  readonly tool: "pick" | "draw";
  /** Only there: a loop is seen from outside. */
  readonly only?: "solid" | "slice";
  readonly pick?: (values: Values, at: V3) => Values;
  readonly draw?: (values: Values, gesture: Gesture) => Values;
}

export const isVector = (p: ParameterSchema): boolean => p.type === "array" && p.minItems === 3 && p.items?.type === "number";
export const isVectors = (p: ParameterSchema): boolean => p.type === "array" && p.items?.type === "array";
/** A length of a move is no place. */
const isPlace = (name: string): boolean => name.endsWith("Mm") && name !== "byMm";
export const isDirection = (name: string, p: ParameterSchema): boolean => isVector(p) && !name.endsWith("Mm");

/** Six directions of the patient, by their letters. */
export const DIRECTIONS: Readonly<Record<string, V3>> = { L: [1, 0, 0], R: [-1, 0, 0], P: [0, 1, 0], A: [0, -1, 0], H: [0, 0, 1], F: [0, 0, -1] };

export function placingsOf(spec: StepSchema): Placing[] {
  const { parameters } = spec;
  const has = (...names: string[]) => names.every((n) => n in parameters);
  const found: Placing[] = [];
  if (has("polygon", "clipFromPatient")) found.push({ ...text.places.loop, tool: "draw", only: "solid", draw: loop });
  if (has("pointMm", "normal")) found.push({ ...text.places.plane, tool: "draw", draw: plane });
  if (has("minMm", "maxMm")) found.push({ ...text.places.box, tool: "draw", draw: box });
  if (has("pointsMm", "radiusMm")) found.push({ ...text.places.stroke, tool: "draw", only: "slice", draw: stroke });
  for (const [name, p] of Object.entries(parameters)) {
    if (!isPlace(name) || name === "minMm" || name === "maxMm") continue;
    if (isVector(p)) found.push({ ...text.places.point(name), tool: "pick", pick: (values, at) => ({ ...values, [name]: rounded(at) }) });
    if (isVectors(p)) found.push({ ...text.places.points(name), tool: "pick", pick: (values, at) => ({ ...values, [name]: [...((values[name] as readonly V3[] | undefined) ?? []), rounded(at)] }) });
  }
  return found;
}

/** What a step's places look like in the pictures. */
export function picturesOf(step: Step, spec: StepSchema, where: Where): { readonly marks: readonly Mark[]; readonly shapes: readonly Shape[] } {
  const v = step.parameters;
  const vector = (name: string): V3 | null => (Array.isArray(v[name]) && (v[name] as unknown[]).length === 3 ? (v[name] as unknown as V3) : null);
  const number = (name: string): number => Number(v[name] ?? spec.parameters[name]?.default ?? 0);
  const marks: Mark[] = [];
  const shapes: Shape[] = [];
  const [pointMm, normal, minMm, maxMm, centerMm] = ["pointMm", "normal", "minMm", "maxMm", "centerMm"].map(vector);
  if (pointMm && normal && length(normal) > 0) shapes.push({ kind: "plane", at: pointMm, normal: unit(normal), where });
  if (minMm && maxMm) shapes.push({ kind: "box", min: minMm, max: maxMm, where });
  if (centerMm) shapes.push({ kind: "ball", at: centerMm, radiusMm: number("radiusMm"), where });
  for (const [name, p] of Object.entries(spec.parameters)) {
    if (!isPlace(name) || ["minMm", "maxMm"].includes(name)) continue;
    if (isVector(p)) {
      const at = vector(name);
      if (at) marks.push({ at, label: text.places.short(name), where });
    }
    const list = v[name];
    if (!isVectors(p) || !Array.isArray(list)) continue;
    if (name === "pointsMm") shapes.push({ kind: "path", points: list as V3[], radiusMm: number("radiusMm"), where });
    else (list as V3[]).forEach((at, n) => marks.push({ at, label: `${text.places.short(name)} ${n + 1}`, where }));
  }
  return { marks, shapes };
}

const precise = (p: V3): V3 => p.map((c) => Math.round(c * 1e6) / 1e6) as unknown as V3;

/** The cut stands on the line, upright to the screen; what is kept lies on the line's left. */
function plane(values: Values, { points, toward }: Gesture): Values {
  const [a, b] = [points[0], points[points.length - 1]];
  const normal = cross(toward, sub(b, a));
  if (length(normal) < 1e-6) return values;
  return { ...values, pointMm: rounded(mul(add(a, b), 0.5)), normal: precise(unit(normal)) };
}

/** Two corners on the screen; along the line of sight it reaches as far as it did, or everywhere. */
function box(values: Values, { points, toward }: Gesture): Values {
  const [a, b] = [points[0], points[points.length - 1]];
  const [min, max] = [[...((values["minMm"] as V3 | undefined) ?? [-1000, -1000, -1000])], [...((values["maxMm"] as V3 | undefined) ?? [1000, 1000, 1000])]];
  for (const axis of [0, 1, 2]) {
    // An axis that points at the viewer cannot be drawn.
    if (Math.abs(toward[axis]) > 0.5) continue;
    min[axis] = hundredths(Math.min(a[axis], b[axis]));
    max[axis] = hundredths(Math.max(a[axis], b[axis]));
  }
  return { ...values, minMm: min, maxMm: max };
}

/** Points of the brush's middle, each half a radius from the last at least; the stroke lies flat in the slice. */
function stroke(values: Values, { points, toward }: Gesture): Values {
  const least = Math.max(0.2, Number(values["radiusMm"] ?? 2) / 2);
  const kept: V3[] = [];
  for (const p of points) if (kept.length === 0 || length(sub(p, kept[kept.length - 1])) >= least) kept.push(p);
  return { ...values, pointsMm: kept.map(rounded), normal: precise(toward) };
}

/** A closed line as seen on the screen; the map says which places of the patient lie behind it. */
function loop(values: Values, { clip, clipFromPatient }: Gesture): Values {
  if (clip.length < 3 || !clipFromPatient) return values;
  const every = Math.max(1, Math.floor(clip.length / 80));
  return { ...values, polygon: clip.filter((_, n) => n % every === 0).flatMap(([x, y]) => [Math.round(x * 1e5) / 1e5, Math.round(y * 1e5) / 1e5]), clipFromPatient: [...clipFromPatient] };
}

/** The letter of a direction, if it is one of the six. */
export function letterOf(direction: unknown): string | null {
  if (!Array.isArray(direction)) return null;
  const d = unit(direction as unknown as V3);
  return Object.entries(DIRECTIONS).find(([, v]) => dot(v, d) > 0.99999)?.[0] ?? null;
}

/** A line drawn over the images as a step means it that comes after the model was moved. */
export function toModel(gesture: Gesture, frame: Frame): Gesture {
  const m = gesture.clipFromPatient;
  const [o, x, y, z] = ([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]] as const).map((p) => frame.toPatient(p));
  const clipFromPatient = m && [0, 4, 8, 12].flatMap((r) => {
    const row = (p: V3) => m[r] * p[0] + m[r + 1] * p[1] + m[r + 2] * p[2] + m[r + 3];
    return [row(x) - row(o), row(y) - row(o), row(z) - row(o), row(o)];
  });
  return { ...gesture, points: gesture.points.map((p) => frame.toModel(p)), toward: frame.directionToModel(gesture.toward), clipFromPatient };
}

/** The places of such a step where the pictures show them. */
export function toPatient({ marks, shapes }: ReturnType<typeof picturesOf>, frame: Frame): ReturnType<typeof picturesOf> {
  return {
    marks: marks.map((m) => ({ ...m, at: frame.toPatient(m.at) })),
    shapes: shapes.flatMap((s): Shape[] => {
      if (s.kind === "plane") return [{ ...s, at: frame.toPatient(s.at), normal: frame.directionToPatient(s.normal) }];
      if (s.kind === "path") return [{ ...s, points: s.points.map((p) => frame.toPatient(p)), radiusMm: s.radiusMm / frame.scale }];
      if (s.kind === "ball") return [{ ...s, at: frame.toPatient(s.at), radiusMm: s.radiusMm / frame.scale }];
      // A box of a model that was turned stands askew in the images: it is not drawn.
      return [];
    }),
  };
}
