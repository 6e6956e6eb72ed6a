/** The control for one parameter of a step, by its schema. */

import { button, choice, field, h } from "../dom";
import { text } from "../text";
import { rounded, V3 } from "../viewing/space";
import { DIRECTIONS, isDirection, isVector, isVectors, letterOf } from "./places";
import type { ParameterSchema } from "./steps";

/** @param key what finds the control again when the rows are made anew. @param set undefined leaves the parameter out. */
export function parameterControl(key: string, name: string, spec: ParameterSchema, value: unknown, required: boolean, set: (value: unknown) => void, point: () => V3): HTMLElement {
  const now = value ?? spec.default;
  const hint = hintOf(spec, required && (now === undefined || now === null));
  if (spec.enum) {
    const options = spec.enum.map((v) => [v, v] as const);
    const select = choice(now === undefined ? [["", text.bench.notSet], ...options] : options, String(now ?? ""));
    select.dataset["key"] = key;
    select.addEventListener("change", () => set(select.value || undefined));
    return field(name, select, hint).root;
  }
  if (spec.type === "boolean" || typeof now === "boolean") {
    const box = h("input", { type: "checkbox", checked: now === true, "data-key": key });
    box.addEventListener("change", () => set(box.checked));
    return field(name, box, hint).root;
  }
  if (isDirection(name, spec)) return direction(key, name, now, hint, set);
  if (isVector(spec)) return numbers(key, name, now, hint, set, point);
  if (isVectors(spec)) return points(key, name, now, hint, set, point);
  if (spec.type === "array" || Array.isArray(now)) return list(key, name, now, hint, set);
  const isNumber = spec.type === "number" || spec.type === "integer" || typeof now === "number";
  const input = h("input", { type: isNumber ? "number" : "text", step: spec.type === "integer" ? 1 : "any", min: spec.minimum, max: spec.maximum, value: now === undefined || now === null ? "" : String(now), "data-key": key });
  const made = field(name, input, hint);
  input.addEventListener("change", () => {
    made.fault(input.validity.valid ? null : input.validationMessage);
    if (input.validity.valid) set(input.value === "" ? undefined : isNumber ? Number(input.value) : input.value);
  });
  return made.root;
}

function hintOf(spec: ParameterSchema, isMissing: boolean): string | null {
  const range = spec.minimum !== undefined || spec.maximum !== undefined ? ` (${spec.minimum ?? "…"} to ${spec.maximum ?? "…"})` : "";
  const said = spec.description ? `${spec.description}${range}` : null;
  return isMissing ? `${text.bench.needed}${said ? ` ${said}` : ""}` : said;
}

const show = (p: unknown): string => (Array.isArray(p) ? p.join(", ") : "");

/** Three numbers, or null. */
function read(line: string): V3 | null {
  const parts = line.split(/[\s,;]+/).filter((s) => s.length > 0).map(Number);
  return parts.length === 3 && parts.every(Number.isFinite) ? (parts as unknown as V3) : null;
}

function numbers(key: string, name: string, now: unknown, hint: string | null, set: (value: unknown) => void, point: () => V3): HTMLElement {
  const input = h("input", { value: show(now), placeholder: text.places.xyz, "data-key": key, autocomplete: "off" });
  const made = field(name, input, hint);
  input.addEventListener("change", () => {
    const p = read(input.value);
    made.fault(p || input.value.trim() === "" ? null : text.places.three);
    if (p || input.value.trim() === "") set(p ?? undefined);
  });
  return h("div", { class: "with-button" }, made.root, button(text.bench.takePoint, () => set(rounded(point())), { "data-key": `${key}/take` }));
}

function points(key: string, name: string, now: unknown, hint: string | null, set: (value: unknown) => void, point: () => V3): HTMLElement {
  const there = Array.isArray(now) ? (now as V3[]) : [];
  const area = h("textarea", { rows: Math.min(6, Math.max(2, there.length)), placeholder: text.places.lines, "data-key": key });
  area.value = there.map(show).join("\n");
  const made = field(`${name} (${text.count(there.length)})`, area, hint);
  area.addEventListener("change", () => {
    const read3 = area.value.split("\n").filter((l) => l.trim().length > 0).map(read);
    made.fault(read3.includes(null) ? text.places.three : null);
    if (!read3.includes(null)) set(read3.length ? read3 : undefined);
  });
  return h("div", { class: "with-button" }, made.root,
    h("div", { class: "row" }, button(text.places.addPoint, () => set([...there, rounded(point())]), { "data-key": `${key}/take` }),
      there.length ? button(text.places.dropLast, () => set(there.length > 1 ? there.slice(0, -1) : undefined), { "data-key": `${key}/drop` }) : null));
}

function list(key: string, name: string, now: unknown, hint: string | null, set: (value: unknown) => void): HTMLElement {
  const input = h("input", { value: Array.isArray(now) ? now.join(", ") : "", "data-key": key, autocomplete: "off" });
  const made = field(name, input, hint);
  input.addEventListener("change", () => {
    const parts = input.value.split(/[\s,;]+/).filter((s) => s.length > 0);
    const read1 = parts.map(Number);
    const isRight = read1.every(Number.isFinite);
    made.fault(isRight ? null : text.places.numbers);
    if (isRight) set(read1.length ? read1 : undefined);
  });
  return made.root;
}

/** A letter of the patient, or three numbers. */
function direction(key: string, name: string, now: unknown, hint: string | null, set: (value: unknown) => void): HTMLElement {
  const letter = letterOf(now);
  const select = choice([["", Array.isArray(now) ? text.places.oblique : text.bench.notSet], ...Object.keys(DIRECTIONS).map((l) => [l, text.places.towards[l]] as const)], letter ?? "");
  select.dataset["key"] = key;
  select.addEventListener("change", () => set(DIRECTIONS[select.value]));
  const input = h("input", { value: show(now), placeholder: text.places.xyz, "data-key": `${key}/xyz`, "aria-label": `${name}, ${text.places.xyz}`, autocomplete: "off" });
  input.addEventListener("change", () => {
    const p = read(input.value);
    if (p || input.value.trim() === "") set(p ?? undefined);
  });
  return h("div", { class: "with-button" }, field(name, select, hint).root, input);
}
