// Takes the results, dispensed bags and transfusions of files of HL7 messages
// apart by another parser, and prints what internal/read/hl7 should find.
//
// node messages.js FILE...
const fs = require('fs');
const { Hl7Message } = require('@medplum/core');
for (const file of process.argv.slice(2)) {
  let place = 0;
  let message = [];
  const end = () => {
    if (message.length) show(Hl7Message.parse(message.map(s => s.text).join('\r')), message.map(s => s.place));
    message = [];
  };
  for (const text of fs.readFileSync(file, 'utf8').split('\r')) {
    if (!text) continue;
    place++;
    if (/^(FHS|BHS|BTS\||FTS)/.test(text)) { end(); continue; }
    if (text.startsWith('MSH')) end();
    message.push({ text, place });
  }
  end();
}
function show(message, places) {
  const patient = message.getSegment('PID').getField(3).getComponent(1);
  message.segments.forEach((s, i) => {
    const f = n => s.getField(n)?.getComponent(1) ?? '';
    const all = n => (s.getField(n)?.components?.[0] ?? []).join('');
    if (s.name === 'OBX') console.log([places[i], patient, f(3), f(2) === 'SN' ? all(5) : f(5), f(6), f(11)].join('\t'));
    if (s.name === 'BPX') console.log([places[i], patient, f(5), f(6), f(2), f(4)].join('\t'));
    if (s.name === 'BTX') console.log([places[i], patient, f(2), f(3), f(11), f(16), f(17), f(9)].join('\t'));
  });
}
