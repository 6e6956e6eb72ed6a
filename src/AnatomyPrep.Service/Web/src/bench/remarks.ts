/** What people say about a model: a word, that it fits, or back with marks on it. Everybody who opens the model sees the marks. */

import { api, ApiError, LineLost } from "../api";
import { button, field, fill, h } from "../dom";
import { Remark, RemarkMark, remarksOf, Verdict } from "../jobs";
import { trouble } from "../shell";
import { text } from "../text";
import type { Mark, Scene } from "../viewing/scene";
import { rounded, V3 } from "../viewing/space";

export interface RemarksPanel {
  readonly root: HTMLElement;
  readonly reload: () => Promise<void>;
}

/** @param isPlaced places of the solid are places of the images. @param said called when a verdict was given. */
export function remarksPanel(job: string, scene: Scene, isPlaced: () => boolean, isMade: () => boolean, said: () => void, signal: AbortSignal): RemarksPanel {
  const draft = `remark-${job}`;
  const list = h("ul", { class: "remarks" });
  const note = h("div", { role: "status" });
  const role = api.session!.role;
  const mayJudge = role === "coordinator" || role === "quality-officer";
  const words = h("textarea", { rows: 3, maxlength: 500 });
  const wordsField = field(text.remarks.words, words, text.remarks.wordsHint);
  const marksList = h("ol", { class: "marks" });
  const kept = JSON.parse(sessionStorage.getItem(draft) ?? "null") as { words: string; marks: RemarkMark[] } | null;
  let marks: readonly RemarkMark[] = kept?.marks ?? [];
  words.value = kept?.words ?? "";
  let there: readonly Remark[] = [];
  let tag: string | null = null;
  let isMarking = false;

  const keep = () => {
    if (words.value || marks.length) sessionStorage.setItem(draft, JSON.stringify({ words: words.value, marks }));
    else sessionStorage.removeItem(draft);
  };
  words.addEventListener("input", keep);
  const shown = (remark: Remark | null): Mark[] => (remark?.marks ?? marks).map((m, n) => ({ at: m.atMm, label: text.remarks.flag(n + 1, m.words), where: m.onModel ? "solid" : "both" }));
  const flags = () => scene.set({ remarks: [...there.flatMap(shown), ...shown(null)] });
  const setMarks = (to: readonly RemarkMark[]) => {
    marks = to;
    keep();
    fill(marksList, marks.map((m, n) => {
      const input = h("input", { value: m.words, maxlength: 500, "aria-label": text.remarks.markWords(n + 1), placeholder: text.remarks.markPlaceholder });
      // No new row for each letter: the focus stays.
      input.addEventListener("input", () => {
        marks = marks.map((o, k) => (k === n ? { ...o, words: input.value } : o));
        keep();
        flags();
      });
      return h("li", null, input, button(text.bench.showPlace, () => scene.set({ point: m.atMm }), { class: "small", "aria-label": text.remarks.showMark(n + 1) }), button(text.bench.removeStep, () => setMarks(marks.filter((_, k) => k !== n)), { class: "small", "aria-label": text.remarks.removeMark(n + 1) }));
    }));
    flags();
  };
  const marking = button(text.remarks.mark, () => (isMarking ? endMarking() : startMarking()), { "aria-pressed": "false" });
  const startMarking = () => {
    isMarking = true;
    marking.setAttribute("aria-pressed", "true");
    scene.picked = (at: V3, pane) => {
      setMarks([...marks, { atMm: rounded(at), words: "", onModel: pane === "solid" && !isPlaced() }]);
      // Where the mark was set, what is wrong there is said next.
      endMarking();
      marksList.querySelector<HTMLInputElement>("li:last-child input")?.focus();
    };
    scene.set({ tool: "pick", task: text.remarks.markHint });
  };
  const endMarking = () => {
    if (!isMarking) return;
    isMarking = false;
    marking.setAttribute("aria-pressed", "false");
    scene.rest();
  };
  scene.watch((state, changed) => {
    if (isMarking && changed.has("tool") && state.tool !== "pick") endMarking();
  });
  const atPoint = button(text.remarks.markAtPoint, () => setMarks([...marks, { atMm: rounded(scene.state.point), words: "", onModel: !isPlaced() }]));

  const send = async (verdict: Verdict) => {
    wordsField.fault(null);
    if (verdict === "back" && !words.value.trim() && marks.length === 0) {
      wordsField.fault(text.remarks.sayWhat);
      words.focus();
      return;
    }
    try {
      await api.send("POST", `jobs/${job}/remarks`, { verdict, words: words.value.trim() || null, marks }, tag ? { "If-Match": tag } : {});
      words.value = "";
      setMarks([]);
      fill(note, h("p", { class: "notice holds" }, text.remarks.done[verdict]));
      await reload();
      if (verdict !== "note") said();
    } catch (e) {
      if (e instanceof ApiError && e.problem.status === 412) {
        await reload();
        fill(note, h("p", { class: "notice caution", role: "alert" }, text.remarks.changed));
      } else fill(note, e instanceof LineLost ? h("p", { class: "notice caution", role: "alert" }, text.remarks.lost) : trouble(e, null));
    }
  };

  const reload = async () => {
    const now = await remarksOf(job);
    if (signal.aborted || now.items.length === there.length && tag !== null) return;
    there = now.items;
    tag = now.tag;
    fill(list, there.length ? there.map((r) => h("li", { class: r.verdict }, h("p", null, h("strong", { class: "verdict" }, text.remarks.verdicts[r.verdict]), ` ${text.remarks.by(r.by, text.moment(r.at))}`), r.words ? h("blockquote", null, r.words) : null,
      r.marks.length ? h("ol", { class: "marks" }, r.marks.map((m, n) => h("li", null, h("span", null, m.words || text.remarks.noWords), button(text.bench.showPlace, () => scene.set({ point: m.atMm }), { class: "small", "aria-label": text.remarks.showMark(n + 1) })))) : null)) : h("li", { class: "hint" }, text.remarks.none));
    flags();
  };
  setMarks(marks);
  const judge = mayJudge ? [button(text.remarks.fits, () => void (isMade() ? send("fits") : fill(note, h("p", { class: "notice" }, text.remarks.notMade))), { class: "primary" }), button(text.remarks.back, () => void send("back"))] : [];
  const root = h("section", { class: "stack remarks-panel", "aria-label": text.remarks.title }, h("h2", null, text.remarks.title), list,
    role === "administrator" ? null : h("div", { class: "stack" }, h("div", { class: "row" }, marking, atPoint), marksList, wordsField.root, mayJudge ? h("p", { class: "warning" }, text.warning) : null, h("div", { class: "row" }, judge, button(text.remarks.note, () => void send("note")))),
    note);
  return { root, reload };
}
