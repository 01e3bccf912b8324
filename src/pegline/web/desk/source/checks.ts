// The verdict and what to do about it: suspects first, then what to measure, then the checks one by one.

import { Book, Finding } from "./book";
import type { Link, Message } from "./link";
import { fill, h } from "./dom";
import { PlanLeaf } from "./plan";
import { say } from "./words";

const VERDICTS: Record<string, Parameters<typeof say>[0]> = { PASSED: "verdict.passed", FAILED: "verdict.failed", "NOT CHECKED": "verdict.not_checked" };

export class ChecksLeaf {
  readonly element = h("div", { class: "checks" });
  readonly stamp = h("button", { type: "button", class: "stamp", "aria-live": "polite" });
  private readonly trial = h("div", { class: "trial", role: "status" });
  private readonly body = h("div", {});
  private judged: Message | null = null;

  constructor(private readonly book: Book, private readonly link: Link, private readonly plan: PlanLeaf, private readonly look: (source: string) => void) {
    this.element.append(this.trial, this.body);
    this.render();
  }

  show(message: Message): void {
    this.judged = message;
    this.element.classList.remove("working");
    this.stamp.classList.remove("working");
    this.render();
  }

  /** The book has changed: what stands here is of an earlier state. */
  working(): void {
    this.element.classList.add("working");
    this.stamp.classList.add("working");
    this.stamp.title = say("verdict.working");
  }

  clear(): void {
    this.judged = null;
    fill(this.trial);
    this.render();
  }

  private render(): void {
    const judged = this.judged;
    const word = judged?.verdict ? say(VERDICTS[judged.verdict]) : say("verdict.none");
    this.stamp.className = `stamp ${String(judged?.verdict ?? "none").toLowerCase().replace(" ", "-")}`;
    fill(this.stamp, word);
    const checks = judged?.checks ?? [];
    fill(this.body,
      h("h2", {}, h("span", { class: this.stamp.className }, word)),
      judged?.about ? h("p", { class: "sentence" }, `${judged.about}. ${judged.meaning}`) : null,
      this.part(say("checks.wrong"), (judged?.wrong ?? this.book.wrong).map((each: Finding) => this.finding(each, "fault"))),
      this.part(say("checks.suspects"), (judged?.suspects ?? []).map((each: Message) => this.suspect(each))),
      this.part(say("checks.now"), (judged?.now ?? []).map((each: string) => h("li", {}, each))),
      this.part(say("checks.missing"), (judged?.missing ?? this.book.missing).map((each: Finding) => this.finding(each, ""))),
      checks.length ? this.table(checks, judged!.unit) : null,
      this.part(say("checks.improve"), (judged?.improve ?? []).map((each: string) => h("li", {}, each))),
      this.part(say("checks.weak"), (judged?.warnings ?? []).map((each: Message) => h("li", {}, each.text, each.source ? this.lookButton(each.source) : null))),
      h("p", { class: "caution" }, say("checks.caution")));
  }

  private part(title: string, items: HTMLElement[]): HTMLElement | null {
    return items.length ? h("section", {}, h("h3", {}, title), h("ul", {}, ...items)) : null;
  }

  private lookButton(source: string): HTMLElement {
    return h("button", { type: "button", class: "quiet", onclick: () => this.look(source) }, say("checks.look", { line: source.split(":")[0] }));
  }

  private finding(finding: Finding, kind: string): HTMLElement {
    return h("li", { class: kind }, finding.text, finding.line != null ? this.lookButton(`${finding.line}:${finding.column}`) : null);
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
      h("p", {}, h("span", { class: `stamp ${String(judged.verdict).toLowerCase().replace(" ", "-")}` }, word), " ", judged.about ? `${judged.about}. ${judged.meaning}` : ""),
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
