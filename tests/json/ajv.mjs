// SPDX-License-Identifier: MIT
// ajv.mjs NODE_MODULES SCHEMAS OUTPUTS: holds each OUTPUTS/*.SCHEMA.json against SCHEMAS/SCHEMA.json with ajv (draft 2020-12, strict);
// files that begin with "wrong" must not fit. Status 1 if anything is otherwise.
import { createRequire } from 'node:module';
import { readdirSync, readFileSync } from 'node:fs';
const [modules, schemas, outputs] = process.argv.slice(2);
const Ajv = createRequire(modules + '/')('ajv/dist/2020').default;
const ajv = new Ajv({ allErrors: true, strict: true, strictTypes: false, strictRequired: false, allowUnionTypes: true });
for (const f of readdirSync(schemas).filter((n) => n.endsWith('.json'))) ajv.addSchema(JSON.parse(readFileSync(`${schemas}/${f}`, 'utf8')));
let wrong = 0, held = 0;
for (const f of readdirSync(outputs).filter((n) => n.endsWith('.json'))) {
  const name = f.split('.').at(-2), check = ajv.getSchema(`urn:lineup:${name}`);
  const fits = check(JSON.parse(readFileSync(`${outputs}/${f}`, 'utf8')));
  if (fits === f.startsWith('wrong')) {
    console.log(`FAILED: ajv: ${f} ${fits ? 'fits' : ajv.errorsText(check.errors, { separator: '\n  ' }).slice(0, 600)}`);
    wrong++;
  }
  held++;
}
console.log(held, 'outputs held against schemas by ajv');
process.exit(wrong || !held ? 1 : 0);
