// Elements made in one expression, and the few helpers that every leaf of the page needs.

type Child = Node | string | null | undefined | false;
type Props = Record<string, string | number | boolean | null | undefined | ((event: never) => void)>;

/** Return an element: `on…` props listen, `false` and null are left out, others are attributes. */
export function h<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (typeof value === "function") element.addEventListener(name.slice(2), value as EventListener);
    else if (value !== false && value != null) element.setAttribute(name, value === true ? "" : String(value));
  }
  put(element, ...children);
  return element;
}

export function put(element: Element, ...children: Child[]): void {
  for (const child of children) if (child) element.append(child);
}

export function fill(element: Element, ...children: Child[]): void {
  element.replaceChildren(...(children.filter(Boolean) as (Node | string)[]));
}

let numbers = 0;
/** Return an id that no other element has. */
export function newId(stem: string): string {
  numbers += 1;
  return `${stem}-${numbers}`;
}

/** Return whether two values of texts, lists and maps are the same. */
export function same(one: unknown, other: unknown): boolean {
  return one === other || JSON.stringify(one) === JSON.stringify(other);
}

/** Keep a choice of this browser's, where it lets us. */
export const keep = (name: string, value?: string) => kept(() => localStorage, name, value);

/** Keep something of this tab's, over loading the page again. */
export const keepHere = (name: string, value?: string) => kept(() => sessionStorage, name, value);

function kept(store: () => Storage, name: string, value?: string): string | null {
  try {
    if (value !== undefined) store().setItem(`pegline-desk-${name}`, value);
    return store().getItem(`pegline-desk-${name}`);
  } catch {
    return null;
  }
}
