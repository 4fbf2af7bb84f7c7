// Converts each unit of internal/site/testdata/ucum.tsv by the reference
// implementation of UCUM, and prints the file with what it says.
//
// node ucum.js < ucum.tsv
const { UcumLhcUtils } = require('@lhncbc/ucum-lhc');
const ucum = UcumLhcUtils.getInstance();
// Molar masses in g/mol, as the contract has them.
const molar = { fibrinogen: 340000, hb: 16114 };
const lines = require('fs').readFileSync(0, 'utf8').trimEnd().split('\n');
for (const line of lines) {
  if (line.startsWith('#')) { console.log(line); continue; }
  const [analyte, written, code, value, to] = line.split('\t');
  const mole = /mol/.test(code) ? { molecularWeight: molar[analyte] } : {};
  const r = ucum.convertUnitTo(code, Number(value), to, mole);
  const result = r.status === 'succeeded' ? Number(r.toVal.toPrecision(12)) : 'refused';
  console.log([analyte, written, code, value, to, result].join('\t'));
}
