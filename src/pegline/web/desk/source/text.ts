// The book's own text, in step with the form: completion and explanation from the schema, marks from the reader.

import { autocompletion, closeBrackets, CompletionContext, CompletionResult, completionKeymap } from "@codemirror/autocomplete";
import { collab, getSyncedVersion, receiveUpdates, sendableUpdates } from "@codemirror/collab";
import { defaultKeymap } from "@codemirror/commands";
import { yaml } from "@codemirror/lang-yaml";
import { bracketMatching, defaultHighlightStyle, syntaxHighlighting, syntaxTree } from "@codemirror/language";
import { Diagnostic, lintGutter, lintKeymap, setDiagnostics } from "@codemirror/lint";
import { ChangeSet, EditorState } from "@codemirror/state";
import { EditorView, highlightActiveLine, hoverTooltip, keymap, lineNumbers } from "@codemirror/view";
import { Book, Finding } from "./book";
import { h } from "./dom";
import type { Link, Message } from "./link";
import { about, at, keysOf, under, wordsOf } from "./schema";
import { say } from "./words";

export class TextLeaf {
  readonly element = h("div", { class: "text" });
  private view: EditorView;
  private inFlight = 0;
  private quiet = false;
  /** Changes that came while another leaf was on top: the editor works only where it is seen. */
  private later: Message[] = [];
  private findings: [Finding[], Finding[]] = [[], []];
  private seen = false;
  /** What was typed when the socket opened again and the whole text was asked for. */
  private greeted: { text: string; updates: number } | null = null;

  constructor(private readonly book: Book, private readonly link: Link) {
    const host = h("div", { class: "text-host" });
    const root = host.attachShadow({ mode: "open" });
    this.view = new EditorView({ root, parent: root, state: this.state("", 0) });
    this.view.scrollDOM.tabIndex = 0;
    this.view.scrollDOM.setAttribute("aria-label", say("text.label"));
    this.element.append(host, h("div", { class: "row-buttons" }, h("button", { type: "button", class: "quiet", onclick: () => link.change({ do: "tidy" }) }, say("text.tidy"))));
    book.on("chosen", () => this.follow());
  }

  private state(text: string, version: number): EditorState {
    return EditorState.create({
      doc: text,
      extensions: [
        lineNumbers(), highlightActiveLine(), bracketMatching(), closeBrackets(), yaml(), lintGutter(),
        syntaxHighlighting(defaultHighlightStyle, { fallback: true }),
        autocompletion({ override: [(context) => this.complete(context)] }),
        hoverTooltip((view, position) => this.explain(view, position)),
        keymap.of([
          { key: "Mod-z", run: () => { this.link.change({ do: "undo" }); return true; } },
          { key: "Mod-y", mac: "Mod-Shift-z", run: () => { this.link.change({ do: "redo" }); return true; } },
          { key: "Mod-Shift-z", run: () => { this.link.change({ do: "redo" }); return true; } },
          ...completionKeymap, ...lintKeymap, ...defaultKeymap,
        ]),
        collab({ startVersion: version, clientID: "me" }),
        EditorView.lineWrapping,
        EditorView.contentAttributes.of({ "aria-label": say("text.label"), spellcheck: "false", autocapitalize: "off" }),
        EditorView.updateListener.of((update) => {
          if (update.docChanged && !this.quiet) this.push();
          if (update.selectionSet && this.view.hasFocus) this.choose();
        }),
        THEME,
      ],
    });
  }

  /** Begin with a text that the desk has; what was typed since it was asked for is kept. */
  begin(text: string, version: number): void {
    const [head, top] = [this.view.state.selection.main.head, this.view.scrollDOM.scrollTop];
    const since = this.greeted?.text === text ? sendableUpdates(this.view.state).slice(this.greeted.updates) : [];
    this.greeted = null;
    this.later = [];
    this.quiet = true;
    this.view.setState(this.state(text, version));
    for (const update of since) this.view.dispatch({ changes: update.changes });
    this.view.dispatch({ selection: { anchor: Math.min(head, this.view.state.doc.length) } });
    this.view.scrollDOM.scrollTop = top;
    this.quiet = false;
    this.inFlight = 0;
    this.push();
  }

  /** Return what was typed and not confirmed, as one change of the text that the desk knows. */
  unconfirmed(): unknown[] | null {
    const updates = sendableUpdates(this.view.state);
    this.greeted = { text: this.view.state.doc.toString(), updates: updates.length };
    if (!updates.length) return null;
    return updates.slice(1).reduce((whole, update) => whole.compose(update.changes), updates[0].changes).toJSON();
  }

  private push(): void {
    if (this.inFlight || !this.link.live) return;
    const updates = sendableUpdates(this.view.state);
    if (!updates.length) return;
    this.inFlight = updates.length;
    this.link.send({ do: "type", version: getSyncedVersion(this.view.state), updates: updates.map((update) => update.changes.toJSON()) });
  }

  /** Come to the top, or go beneath another leaf. */
  show(seen: boolean): void {
    this.seen = seen;
    if (!seen) return;
    for (const message of this.later.splice(0)) this.changed(message);
    this.showFindings(...this.findings);
    this.follow();
  }

  /** Take a change that the desk confirms or that comes from elsewhere. */
  changed(message: Message): void {
    if (!this.seen && !this.inFlight) {
      this.later.push(message);
      return;
    }
    if (message.version !== getSyncedVersion(this.view.state) + 1) return;
    const mine = this.inFlight > 0 && message.by === this.book.me && message.text === true;
    const changes = ChangeSet.fromJSON(message.sections);
    if (!mine && this.touchesMine(changes)) {
      this.link.send({ do: "late", mark: this.book.mark, sections: this.unconfirmed() });
      return; // the whole text comes back, with what could not be joined beside it
    }
    this.quiet = true;
    this.view.dispatch(receiveUpdates(this.view.state, [{ changes, clientID: mine ? "me" : "other" }]));
    this.quiet = false;
    this.inFlight = mine ? this.inFlight - 1 : 0; // what was sent before a change of others is refused, and sent again
    this.push();
  }

  /** Return whether a change touches a line in which something is typed and not confirmed. */
  private touchesMine(changes: ChangeSet): boolean {
    const updates = sendableUpdates(this.view.state);
    if (!updates.length) return false;
    const mine = updates.slice(1).reduce((whole, update) => whole.compose(update.changes), updates[0].changes);
    const before = mine.invert(this.view.state.doc).apply(this.view.state.doc);
    const lines = (set: ChangeSet) => {
      const found: [number, number][] = [];
      set.iterChangedRanges((from, to) => found.push([before.lineAt(from).number, before.lineAt(to).number]));
      return found;
    };
    return lines(mine).some(([a, b]) => lines(changes).some(([c, d]) => a <= d && c <= b));
  }

  showFindings(findings: Finding[], missing: Finding[]): void {
    this.findings = [findings, missing];
    if (!this.seen) return;
    const doc = this.view.state.doc;
    const marks = (list: Finding[], severity: "error" | "info"): Diagnostic[] => list.flatMap((finding) => {
      if (finding.line == null || finding.line > doc.lines) return [];
      const line = doc.line(finding.line);
      const from = Math.min(line.to, line.from + Math.max(0, (finding.column ?? 1) - 1));
      const word = /^[^,}\]\s][^,}\]]*/.exec(doc.sliceString(from, line.to))?.[0].length ?? 0;
      return [{ from, to: Math.min(line.to, from + word), severity, message: finding.text }];
    });
    this.view.dispatch(setDiagnostics(this.view.state, [...marks(findings, "error"), ...marks(missing, "info")]));
  }

  private choose(): void {
    const line = this.view.state.doc.lineAt(this.view.state.selection.main.head);
    const path = this.book.pathAt(`${line.number}:${this.view.state.selection.main.head - line.from + 1}`);
    if (path) this.book.choose(path);
  }

  private follow(): void {
    if (!this.seen || this.view.hasFocus) return;
    const line = this.book.lineOf(this.book.chosen) ?? this.book.lineOf(this.book.chosen.slice(0, -1));
    if (line && line <= this.view.state.doc.lines) {
      const at = this.view.state.doc.line(line).from;
      this.view.dispatch({ selection: { anchor: at }, effects: EditorView.scrollIntoView(at, { y: "center" }) });
    }
  }

  /** Return the keys that lead to a position, from the syntax of the text. */
  private pathTo(position: number): string[] {
    const found: string[] = [];
    const doc = this.view.state.doc;
    for (let node = syntaxTree(this.view.state).resolveInner(position, -1) as any; node; node = node.parent) {
      if (node.name !== "Pair") continue;
      const key = node.firstChild;
      if (key && !(position >= key.from && position <= key.to)) found.unshift(doc.sliceString(key.from, key.to).replace(/^['"]|['"]$/g, ""));
    }
    return found;
  }

  private schemaAt(path: string[]) {
    // Rows stand in lists: a step into a list is taken where the schema has one.
    return path.reduce((schema: any, key) => under(schema, key) ?? under(under(schema, 0), key), at([]));
  }

  private complete(context: CompletionContext): CompletionResult | null {
    const word = context.matchBefore(/[\w -]*/);
    if (!word || (word.from === word.to && !context.explicit)) return null;
    const from = word.from + (/^ */.exec(word.text)?.[0].length ?? 0);
    const schema = this.schemaAt(this.pathTo(context.pos));
    const inner = keysOf(schema).length ? schema : under(schema, 0);
    const words = wordsOf(schema) ?? (schema?.$ref?.endsWith("/kind") ? Object.keys(this.book.start.kinds) : []);
    const options = [
      ...keysOf(inner).map((key) => ({ label: key, apply: `${key}: `, type: "property", info: about(under(inner, key)) })),
      ...words.map((label) => ({ label, type: "enum" })),
    ];
    return options.length ? { from, options, validFor: /^[\w ]*$/ } : null;
  }

  private explain(view: EditorView, position: number) {
    const node = syntaxTree(view.state).resolveInner(position, 1) as any;
    const key = node.name === "Key" ? node : node.parent?.name === "Key" ? node.parent : null;
    if (!key) return null;
    const text = about(this.schemaAt([...this.pathTo(key.from), view.state.doc.sliceString(key.from, key.to)]));
    return text ? { pos: key.from, end: key.to, create: () => ({ dom: h("div", { class: "explained" }, text) }) } : null;
  }
}

const THEME = EditorView.theme({
  "&": { fontSize: "15px", height: "100%", backgroundColor: "#fffdf6", color: "#1b1a17" },
  ".cm-content": { fontFamily: "ui-monospace, 'DejaVu Sans Mono', Consolas, monospace", lineHeight: "1.5" },
  ".cm-gutters": { backgroundColor: "#f1ead8", color: "#5d5543", border: "none" },
  ".cm-activeLine": { backgroundColor: "#f3ecd780" },
  ".cm-tooltip.cm-tooltip-autocomplete > ul > li": { minHeight: "44px", lineHeight: "44px", paddingLeft: "8px" },
  ".cm-tooltip": { maxWidth: "22em" },
  // No images: the page may load none that is written into a style.
  ".cm-lintRange-error, .cm-lintRange-info": { backgroundImage: "none", textDecoration: "underline wavy #98201f" },
  ".cm-lintRange-info": { textDecorationColor: "#6f4a00" },
  ".cm-lint-marker-error": { content: "'!'", color: "#98201f", fontWeight: "bold" },
  ".cm-lint-marker-info": { content: "'…'", color: "#6f4a00" },
  ".explained": { padding: "6px 10px" },
  "&.cm-focused": { outline: "3px solid #1d4f91" },
});
