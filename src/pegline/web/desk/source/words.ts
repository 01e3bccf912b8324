// What the page says, from one catalogue a language. A text with forms takes the one that its number asks for.

import en from "./words/en.json";
import { keep } from "./dom";

type Catalogue = Record<string, string | Record<string, string>>;
export const LANGUAGES: Record<string, { name: string; tag: string; dir: "ltr" | "rtl" }> = {
  en: { name: "English", tag: "en", dir: "ltr" },
  es: { name: "Español", tag: "es", dir: "ltr" },
  pseudo: { name: "‹Pseudo›", tag: "en-XA", dir: "rtl" },
};

let catalogue: Catalogue = en;
export let language = "en";

/** Load the language that was chosen here before, or that the browser asks for. */
export async function loadWords(wanted?: string): Promise<void> {
  const asked = wanted ?? keep("language") ?? navigator.language.slice(0, 2);
  language = asked in LANGUAGES ? asked : "en";
  if (wanted) keep("language", wanted);
  if (language === "en") catalogue = en;
  else catalogue = await (await fetch(`/words/${language}.json`)).json();
  document.documentElement.lang = LANGUAGES[language].tag;
  document.documentElement.dir = LANGUAGES[language].dir;
}

/** Return a text with its values put in; `count` chooses among its forms. */
export function say(key: keyof typeof en, values: Record<string, string | number> = {}): string {
  const found = catalogue[key] ?? (en as Catalogue)[key];
  const form = typeof found === "string" ? found : found[new Intl.PluralRules(LANGUAGES[language].tag).select(Number(values.count))] ?? found.other;
  return form.replace(/\{(\w+)\}/g, (all, name) => (name in values ? String(values[name]) : all));
}

/** Return a key of the book as the page names it. */
export function sayKey(word: string): string {
  const key = `key.${word}`;
  if (key in en) return say(key as keyof typeof en);
  const words = word.replaceAll("_", " ");
  return words[0].toUpperCase() + words.slice(1);
}
