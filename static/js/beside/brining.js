// What is said of a brining or dry salting when its load begins: how long it is to lie, in which batch, how much of
// it.  With network the server says first what the batch is and can do for the fish; without, the load begins, and
// what the batch may not do is found when the entry is sent.
import * as queue from './queue.js';
import { h, notice, state } from './pad.js';

const SALTED = ['brine', 'dry-salt'];

const field = (id, words, node, help) =>
  h(
    'div',
    { className: 'field' },
    h('label', { className: 'label', htmlFor: id }, words),
    help && h('p', { className: 'help' }, help),
    node,
  );
const tick = (words, onchange, checked = false) =>
  h(
    'div',
    { className: 'field' },
    h('label', { className: 'tick' }, h('input', { type: 'checkbox', checked, onchange }), h('span', {}, words)),
  );

// {node, look}: `look(portions, at, ask)` gives what the entry says of the brining, or null while something of it is
// to be looked at or answered first; of any other step both are empty.  `weigh` and `grams` are the house's weights.
export function salting(step, { weigh, grams }, body = {}) {
  if (!SALTED.includes(step.kind)) return { node: null, look: async () => ({}) };
  const batches = (state.data.batches ?? []).filter(one => one.step === step.kind);
  const said = { declared: body.declared ?? '', filtered: body.filtered ?? false, seen: '', already: false };
  const shown = h('div', { 'aria-live': 'polite' });
  const forget = () => {
    said.seen = '';
    said.already = false;
    shown.replaceChildren();
  };
  const choice = h(
    'select',
    { id: 'batch', onchange: forget },
    h('option', { value: '' }, 'not named here'),
    batches.map(one => h('option', { value: one.id, selected: one.id === body.batch }, one.words)),
  );
  const much = h('input', {
    type: 'text',
    id: 'brine-much',
    inputMode: 'decimal',
    value: body.brine_g ? weigh(body.brine_g) : '',
    oninput: forget,
  });
  const lengths = h(
    'fieldset',
    { className: 'field' },
    h('legend', { className: 'label' }, 'How long is it to lie?'),
    h(
      'div',
      { className: 'choices choices-inline' },
      Object.entries(step.lengths).map(([value, words]) =>
        h(
          'label',
          { className: 'tick' },
          h('input', {
            type: 'radio',
            name: 'declared',
            checked: said.declared === value,
            onchange: () => {
              said.declared = value;
            },
          }),
          h('span', {}, words[0].toUpperCase() + words.slice(1)),
        ),
      ),
    ),
  );
  const node = h(
    'div',
    { className: 'row-form' },
    lengths,
    field('batch', 'Batch', choice, 'What the fish lies in.'),
    field(
      'brine-much',
      `How much of the batch, ${state.data.weight_unit}`,
      much,
      'What is poured on this fish. Empty: all of it.',
    ),
    tick(
      'The brine was filtered since its last load',
      event => {
        said.filtered = event.target.checked;
        forget();
      },
      said.filtered,
    ),
    shown,
  );

  function show(told) {
    const yes = told.barred.length
      ? 'The fish already lies in it: keep the load as it is'
      : 'I have seen this';
    shown.replaceChildren(
      h('h2', {}, 'Before the fish goes in'),
      ...told.barred.map(text => notice('Refused', text, 'box-refusal')),
      ...told.asks.map(text => notice('Is it so?', text)),
      h(
        'dl',
        { className: 'facts' },
        told.facts.flatMap(([what, figure]) => [h('dt', {}, what), h('dd', {}, figure)]),
      ),
      ...[...told.nitrite, ...told.salt].map(text => h('p', {}, text)),
      tick(yes, event => {
        said.seen = event.target.checked ? told.mark : '';
        said.already = event.target.checked && told.barred.length > 0;
      }),
    );
    shown.scrollIntoView({ block: 'nearest' });
  }
  async function look(portions, at, ask) {
    if (!said.declared) {
      ask('Say how long the fish is to lie in it: short, or long.');
      return null;
    }
    const batch = Number(choice.value) || null,
      brine_g = much.value.trim() ? grams(much.value) : null;
    if (much.value.trim() && !(brine_g > 0)) {
      ask('Type how much of the batch goes on the fish, or leave it empty for all of it.');
      return null;
    }
    const answer = { ...said, batch, brine_g: batch ? brine_g : null };
    if (!batch || !state.online) return answer;
    const query = new URLSearchParams({ batch, at, ...(brine_g && { brine_g }), ...(said.filtered && { filtered: 'yes' }) });
    for (const one of portions) query.append('lot', `${one.lot}:${one.grams}`);
    const told = await queue.askNow(`/batches/before/?${query}`);
    if (told?.status === 422) {
      ask(Object.values(told.said?.refused ?? {}).join(' '));
      return null;
    }
    if (told?.status !== 200 || !told.said) return answer; // the network has just gone
    if (said.seen === told.said.mark) return answer;
    show(told.said);
    ask(
      told.said.barred.length
        ? 'This may not go in. Choose another batch or other fish; if it already lies in it, say so above.'
        : 'Look at what this batch can do for the fish, say above that you have, and start the load.',
    );
    return null;
  }
  return { node, look };
}
