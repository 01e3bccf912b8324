// The JSON Schema of field books, asked simple questions: what may stand here, as a text, a list or a map.

export type Schema = { [key: string]: any };

let root: Schema = {};

export function useSchema(schema: Schema): void {
  root = schema;
}

/** Return every plain schema that a schema allows, references followed. */
export function choices(schema: Schema | undefined): Schema[] {
  if (!schema) return [];
  const found: Schema[] = [];
  if (schema.$ref) found.push(...choices(root.$defs[schema.$ref.split("/").pop()]));
  for (const choice of schema.anyOf ?? []) found.push(...choices(choice));
  if (schema.type || schema.enum || schema.properties || schema.pattern) found.push(schema);
  return found;
}

const isA = (schema: Schema, type: string) => schema.type === type || (Array.isArray(schema.type) && schema.type.includes(type));

export const mapSchema = (schema?: Schema) => choices(schema).find((each) => isA(each, "object"));
export const listSchema = (schema?: Schema) => choices(schema).find((each) => isA(each, "array"));
export const takesText = (schema?: Schema) =>
  choices(schema).some((each) => each.enum || each.pattern || isA(each, "string") || isA(each, "number") || isA(each, "integer"));

/** Return the words that a text must be one of, if it must. */
export function wordsOf(schema?: Schema): string[] | null {
  const texts = choices(schema).filter((each) => !isA(each, "object") && !isA(each, "array") && !isA(each, "null"));
  if (!texts.length || !texts.every((each) => each.enum)) return null;
  return texts.flatMap((each) => each.enum.filter((word: unknown) => typeof word === "string"));
}

/** Return what a map allows under a key. */
export function under(schema: Schema | undefined, key: string | number): Schema | undefined {
  if (typeof key === "number") return listSchema(schema)?.items;
  for (const each of choices(schema)) if (each.properties?.[key]) return each.properties[key];
  const open = choices(schema).find((each) => typeof each.additionalProperties === "object");
  return open?.additionalProperties;
}

export function at(path: (string | number)[]): Schema | undefined {
  let schema: Schema | undefined = root;
  for (const step of path) schema = under(schema, step);
  return schema;
}

export function keysOf(schema?: Schema): string[] {
  const shapes = choices(schema).filter((each) => each.properties);
  return [...new Set(shapes.flatMap((each) => Object.keys(each.properties)))];
}

/** Return whether a map takes names of the book's own. */
export const takesNames = (schema?: Schema) => choices(schema).some((each) => typeof each.additionalProperties === "object" || (isA(each, "object") && !each.properties));

/** Return what the reference says of a schema. */
export const about = (schema?: Schema): string => schema?.description ?? "";
