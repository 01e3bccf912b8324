// What the page knows of the open book: what its text says, where each part stands, what was drawn and judged of it.

import type { Message } from "./link";
import { Link } from "./link";
import { same } from "./dom";

export type Value = string | Value[] | { [key: string]: Value };
export type Path = (string | number)[];
export interface Finding { rule: string; text: string; line: number | null; column: number | null; sides?: { station: string; line: string } | null }

export class Book {
  name = "";
  version = 0;
  mark = "";
  tree: { [key: string]: Value } = {};
  private spots: [number, number, Path][] = [];
  private sources: Map<string, string> | null = null;
  fault: { text: string; line: number | null } | null = null;
  wrong: Finding[] = [];
  missing: Finding[] = [];
  clashes: Message[] = [];
  undo = 0;
  redo = 0;
  me = "";
  chosen: Path = [];
  /** The key of the figure that was typed last in the chosen row. */
  typing = "";
  private listeners = new Map<string, (() => void)[]>();

  constructor(readonly link: Link, readonly start: Message) {}

  get places(): [number, number, Path][] {
    return this.spots;
  }

  set places(places: [number, number, Path][]) {
    this.spots = places;
    this.sources = null;
  }

  on(what: string, listener: () => void): void {
    this.listeners.set(what, [...(this.listeners.get(what) ?? []), listener]);
  }

  tell(what: string): void {
    for (const listener of this.listeners.get(what) ?? []) listener();
  }

  at(path: Path): Value | undefined {
    let value: any = this.tree;
    for (const step of path) {
      if (value == null || typeof value !== "object") return undefined;
      value = value[step];
    }
    return value;
  }

  map(path: Path): { [key: string]: Value } {
    const value = this.at(path);
    return value && typeof value === "object" && !Array.isArray(value) ? value : {};
  }

  list(path: Path): Value[] {
    const value = this.at(path);
    return Array.isArray(value) ? value : [];
  }

  /** Put a value at a path at once, as the desk will: the next key need not wait for its answer. */
  private assume(path: Path, value: Value): void {
    let holder: any = this.tree;
    for (const step of path.slice(0, -1)) {
      if (holder[step] == null || holder[step] === "") holder[step] = {};
      if (typeof holder[step] !== "object") return;
      holder = holder[step];
    }
    holder[path[path.length - 1]] = value;
  }

  set(path: Path, value: Value, typed = false): void {
    const was = this.at(path) ?? null;
    if (same(was, value)) return;
    this.link.change({ do: "edit", action: "set", path, value, typed, was });
    this.assume(path, value);
  }

  insert(path: Path, value: Value): void {
    this.link.change({ do: "edit", action: "insert", path, value });
    const list = this.at(path.slice(0, -1));
    if (Array.isArray(list)) list.splice(Number(path[path.length - 1]), 0, value);
  }

  /** Add a row at the end of a list; its key is made where there is none. */
  append(path: Path, value: Value): number {
    const list = this.at(path);
    const number = Array.isArray(list) ? list.length : 0;
    this.link.change({ do: "edit", action: number ? "insert" : "set", path: [...path, number], value, typed: true, was: null });
    if (Array.isArray(list)) list.push(value);
    else this.assume(path, [value]);
    return number;
  }

  remove(path: Path): void {
    if (this.at(path) === undefined) return;
    this.link.change({ do: "edit", action: "delete", path });
  }

  rename(path: Path, name: string): void {
    this.link.change({ do: "edit", action: "rename", path, value: name });
  }

  choose(path: Path): void {
    this.chosen = path;
    this.tell("chosen");
  }

  /** Return the path of what stands at `LINE:COLUMN`, or around it. */
  pathAt(source: string): Path | null {
    const [line, column] = source.split(":").map(Number);
    let found: Path | null = null;
    for (const [l, c, path] of this.places) {
      if (l > line || (l === line && c > column)) break;
      found = path;
    }
    return found;
  }

  sourceOf(path: Path): string | null {
    this.sources ??= new Map(this.spots.map(([line, column, other]) => [JSON.stringify(other), `${line}:${column}`]));
    return this.sources.get(JSON.stringify(path)) ?? null;
  }

  lineOf(path: Path): number | null {
    const source = this.sourceOf(path);
    return source ? Number(source.split(":")[0]) : null;
  }

  /** Return what is wrong inside the part at a path. */
  wrongIn(path: Path): Finding[] {
    return this.wrong.filter((finding) => {
      if (finding.line == null) return false;
      const at = this.pathAt(`${finding.line}:${finding.column}`);
      return at !== null && path.every((step, i) => at[i] === step);
    });
  }
}
