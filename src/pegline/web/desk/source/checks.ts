// The verdict and what to do about it: suspects first, then what to measure, then the checks one by one.

import { Book, Finding } from "./book";
import type { Link, Message } from "./link";
import { fill, h } from "./dom";
import { PlanLeaf } from "./plan";
import { say, sayKey } from "./words";

const VERDICTS: Record<string, Parameters<typeof say>[0]> = { PASSED: "verdict.passed", FAILED: "verdict.failed", "NOT CHECKED": "verdict.not_checked" };

const LATE = 400;
const sentence = (judged: Message) => `${judged.about[0].toUpperCase()}${judged.about.slice(1)}. ${judged.meaning}`;

export class ChecksLeaf {
  readonly element = h("div", { class: "checks" });
  readonly stamp = h("button", { type: "button", class: "stamp", "aria-live": "polite" });
  private readonly trial = h("div", { class: "trial", role: "status" });
  private readonly body = h("div", {});
  private judged: Message | null = null;
  private wait: ReturnType<typeof setTimeout> | undefined;

  constructor(private readonly book: Book, private readonly link: Link, private readonly plan: PlanLeaf, private readonly look: (source: string) => void) {
    this.element.append(this.trial, this.body);
    this.render();
  }

  show(message: Message): void {
    this.judged = message;
    clearTimeout(this.wait);
    this.wait = undefined;
    this.element.classList.remove("working");
    this.stamp.classList.remove("working");
    this.render();
  }

  /** The book has changed: what stands here is of an earlier state. */
  working(): void {
    this.element.classList.add("working");
    this.stamp.classList.add("working");
    this.stamp.title = say("verdict.working");
    // A verdict that comes at once is not worth a flicker; one that takes longer must not be taken for this book's.
    this.wait ??= setTimeout(() => { this.stamp.className = "stamp none working"; fill(this.stamp, say("verdict.working")); }, LATE);
  }

  clear(): void {
    this.judged = null;
    clearTimeout(this.wait);
    this.wait = undefined;
    this.element.classList.remove("working");
    fill(this.trial);
    this.render();
  }

  private render(): void {
    const judged = this.judged;
    const word = judged?.verdict ? say(VERDICTS[judged.verdict]) : say("verdict.none");
    this.stamp.className = `stamp ${String(judged?.verdict ?? "none").toLowerCase().replace(" ", "-")}`;
    fill(this.stamp, word);
    const checks = judged?.checks ?? [];
    const missing: Finding[] = judged?.missing ?? this.book.missing;
    const told = new Set(missing.map((each) => each.text));
    fill(this.body,
      h("h2", {}, h("span", { class: this.stamp.className }, word)),
      judged?.about ? h("p", { class: "sentence" }, sentence(judged)) : null,
      this.part(say("checks.wrong"), this.findings(judged?.wrong ?? this.book.wrong, "fault")),
      this.part(say("checks.suspects"), (judged?.suspects ?? []).map((each: Message) => this.suspect(each))),
      this.part(say("checks.now"), (judged?.now ?? []).map((each: string) => h("li", {}, each))),
      this.part(say("checks.missing"), this.findings(missing, "")),
      checks.length ? this.table(checks, judged!.unit) : null,
      this.part(say("checks.improve"), (judged?.improve ?? []).map((each: string) => h("li", {}, each))),
      this.part(say("checks.weak"), (judged?.warnings ?? []).filter((each: Message) => !told.has(each.text)).map((each: Message) => h("li", {}, each.text, each.source ? this.lookButton(each.source) : null, this.sideButtons(each as Finding)))),
      h("p", { class: "caution" }, say("checks.caution")));
  }

  private part(title: string, items: HTMLElement[]): HTMLElement | null {
    return items.length ? h("section", {}, h("h3", {}, title), h("ul", {}, ...items)) : null;
  }

  private lookButton(source: string): HTMLElement {
    return h("button", { type: "button", class: "quiet look", onclick: () => this.look(source) }, say("checks.look", { line: source.split(":")[0] }));
  }

  /** Return each text once, with every place that it is told of and what would settle it. */
  private findings(findings: Finding[], kind: string): HTMLElement[] {
    return [...new Set(findings.map((each) => each.text))].map((text) => {
      const alike = findings.filter((each) => each.text === text);
      const places = [...new Set(alike.filter((each) => each.line != null).map((each) => `${each.line}:${each.column}`))];
      return h("li", { class: kind }, text, ...places.map((place) => this.lookButton(place)), this.sideButtons(alike[0]));
    });
  }

  private sideButtons(finding: Finding): HTMLElement | null {
    const { station, line } = finding.sides ?? {};
    if (!station || !line) return null;
    const button = (key: "left_of" | "right_of") => h("button", { type: "button", onclick: () => this.book.set(["stations", station, key], line) }, `${station}: ${sayKey(key)} ${line}`);
    return h("div", { class: "row-buttons" }, button("left_of"), button("right_of"));
  }

  private table(checks: Message[], unit: string): HTMLElement {
    const heads = [say("checks.booked"), say("checks.computed"), say("checks.difference"), say("checks.allowed"), say("checks.on_plan")];
    const row = (check: Message) => h("tr", { class: check.passed ? "" : "failed" },
      h("th", { scope: "row" }, check.passed ? "" : "! ", check.label, check.source ? this.lookButton(check.source) : null),
      ...check.figures.map((figure: string, i: number) => h("td", { "data-head": heads[i] }, figure)));
    return h("section", {}, h("h3", {}, say("checks.table")),
      h("div", { class: "wide", tabindex: 0, role: "region", "aria-label": say("checks.table") },
        h("table", {}, h("thead", {}, h("tr", {}, h("td", {}, say("checks.in", { unit })), ...heads.map((head) => h("th", { scope: "col" }, head)))), h("tbody", {}, ...checks.map(row)))));
  }

  private suspect(suspect: Message): HTMLElement {
    const known = suspect.source && suspect.reading && suspect.would_be;
    return h("li", { class: "suspect" }, h("b", {}, suspect.text), h("p", {}, suspect.why), h("div", { class: "row-buttons" }, suspect.source ? this.lookButton(suspect.source) : null,
      known ? h("button", { type: "button", onclick: () => this.ask(suspect) }, say("checks.try")) : null));
  }

  // -- try what it would be ---------------------------------------------------------------------

  private ask(suspect: Message): void {
    this.link.send({ do: "try", source: suspect.source, reading: suspect.reading, would_be: suspect.would_be });
    fill(this.trial, h("p", {}, say("verdict.working")));
  }

  /** Show what plan and verdict would be; the book is as it was until it is accepted. */
  tried(message: Message): void {
    const { reading, would_be, source } = message.asked;
    const judged = message.judgement;
    const word = judged.verdict ? say(VERDICTS[judged.verdict]) : say("verdict.none");
    this.plan.try(message.plan.pages, say("try.plan", { reading, would_be }));
    const end = () => { this.plan.try(null, ""); fill(this.trial); };
    fill(this.trial,
      h("h3", {}, say("try.title", { reading, would_be })),
      h("p", {}, h("span", { class: `stamp ${String(judged.verdict).toLowerCase().replace(" ", "-")}` }, word), " ", judged.about ? sentence(judged) : ""),
      h("p", {}, say("try.paper")),
      h("div", { class: "row-buttons" },
        h("button", { type: "button", class: "main", onclick: () => { this.link.change({ do: "accept", source, reading, would_be }); end(); } }, say("try.accept")),
        h("button", { type: "button", onclick: end }, say("try.leave"))));
    this.trial.querySelector("button")!.focus();
  }

  refused(text: string): void {
    if (this.trial.childElementCount) fill(this.trial, h("p", { class: "fault" }, text));
  }
}
