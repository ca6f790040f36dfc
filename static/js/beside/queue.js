// What is entered on this tablet goes into its own store first, and from there to the server: in order,
// once each, however often the sending breaks off.  The only module that touches store and network.

const STORE = 'smokehouse-beside';
const ANSWER_WITHIN = 10000,
  KEEP_SENT = 12 * 3600e3,
  RIGHT_AGAIN = 300e3;
const POLL = { 'X-Beside': 'poll' };
export const events = new EventTarget();
const tell = (type, detail) => events.dispatchEvent(new CustomEvent(type, { detail }));

// ---- the store ----
let opened;
function open() {
  opened ??= new Promise((done, failed) => {
    const asked = indexedDB.open(STORE, 1);
    asked.onupgradeneeded = () => {
      // the order of entries is that of these numbers; `key` is what makes the server take each once
      asked.result
        .createObjectStore('entries', { keyPath: 'id', autoIncrement: true })
        .createIndex('key', 'key', { unique: true });
      asked.result.createObjectStore('kept');
    };
    asked.onsuccess = () => {
      asked.result.onversionchange = () => {
        asked.result.close();
        opened = null;
      };
      done(asked.result);
    };
    asked.onerror = () => {
      opened = null;
      failed(asked.error);
    };
  });
  return opened;
}
async function within(name, mode, work) {
  const store = await open();
  return new Promise((done, failed) => {
    // strict: what a person was told is stored survives the tablet's battery
    const act = store.transaction(name, mode, { durability: 'strict' });
    const asked = work(act.objectStore(name));
    act.oncomplete = () => done(asked?.result);
    act.onabort = act.onerror = () => failed(act.error ?? new Error('The tablet’s store refused it.'));
  });
}
const keep = (name, value) => within('kept', 'readwrite', store => store.put(value, name));
const kept = name => within('kept', 'readonly', store => store.get(name));
export const list = () => within('entries', 'readonly', store => store.getAll());
const one = key => within('entries', 'readonly', store => store.index('key').get(key));
async function change(key, changes) {
  let entry;
  await within('entries', 'readwrite', store => {
    // read and written in one transaction: the page and the sender both change entries
    store.index('key').get(key).onsuccess = ({ target }) => {
      entry = { ...target.result, ...changes };
      store.put(entry);
    };
  });
  tell('changed');
  return entry;
}
export async function waiting() {
  return (await list()).filter(entry => entry.state !== 'stored').length;
}

// ---- the clock ----
// The server's time is known at each answer.  While this page lives it goes on by the monotonic clock, which
// nobody can set; that one stands still while a tablet sleeps, so that a device's clock ahead of it is
// believed, and one behind it is not: no sleep sets a clock back.
let anchor = null,
  offset = 0;
// now: what the server's clock said between asking and hearing
function measure(now, asked, heard) {
  const device = Date.now();
  const at = now + device - (asked + heard) / 2;
  anchor = { at, mono: performance.now() };
  offset = Math.round(at - device);
  keep('offset', offset).catch(() => {});
}
export function houseNow() {
  const device = Date.now();
  let at = device + offset;
  if (anchor) at = Math.max(at, anchor.at + performance.now() - anchor.mono);
  at = Math.round(at);
  return { at, device_at: device, offset_ms: at - device };
}
const remembered = kept('offset')
  .then(value => {
    if (!anchor && value) offset = value;
  })
  .catch(() => {});

// ---- what the server said last ----
let csrf = '',
  pinKey = null,
  pen = null,
  learntAt = -Infinity;
const FRESH = 60e3; // a token learnt so lately is not fetched again before an entry
async function learn(data) {
  csrf = data.csrf;
  learntAt = performance.now();
  pinKey = data.pin_key ?? pinKey;
  pen = data.pen;
  await keep('data', data);
}
export const snapshot = () => kept('data');

// Data that stands in the page itself: believed where the page has just come from the server, and not from what
// the service worker keeps (which marks it so).
export async function believe(data) {
  await remembered;
  if (document.body.dataset.kept !== undefined) return false;
  const { requestStart = 0, responseStart = 0 } = performance.getEntriesByType('navigation')[0] ?? {};
  measure(data.now, performance.timeOrigin + requestStart, performance.timeOrigin + responseStart);
  await learn(data);
  return true;
}

// {data} when it came, {needs} when it must not be gone on with, {} without network
// `used`: somebody's hand was on the page since the last time, which keeps their pen open; asking does not
export async function fetchData(used = false) {
  const asked = Date.now();
  try {
    const answer = await ask('/shift/data', { headers: used ? { 'X-Beside': 'used' } : POLL });
    if (answer.status === 401) return { needs: 'log in' };
    if (answer.status !== 200 || !answer.said) return {};
    const data = answer.said;
    measure(data.now, asked, answer.heard);
    await learn(data);
    return { data };
  } catch {
    return {};
  }
}
// Something that the server is asked on the way, and that keeps no pen open; null without network.
export const askNow = address => ask(address, { headers: POLL }).catch(() => null);
// {status, said, heard}: `said` is null where it is not our JSON.  The time is for the whole of the answer: a
// network that dies in the middle of it must not hold up everything after it.
async function ask(address, options) {
  const stop = new AbortController(),
    timer = setTimeout(() => stop.abort(), ANSWER_WITHIN);
  try {
    const answer = await fetch(address, {
      ...options,
      redirect: 'manual',
      cache: 'no-store',
      credentials: 'same-origin',
      signal: stop.signal,
    });
    const heard = Date.now(),
      ours = (answer.headers.get('Content-Type') ?? '').startsWith('application/json');
    return { status: answer.status, said: ours ? await answer.json() : null, heard };
  } finally {
    clearTimeout(timer);
  }
}

// ---- the PIN's envelope ----
const hex = bytes => [...new Uint8Array(bytes)].map(byte => byte.toString(16).padStart(2, '0')).join('');
const newKey = () => hex(crypto.getRandomValues(new Uint8Array(16)));
const utf8 = text => new TextEncoder().encode(text);
// entries sealed with one PIN share a name that says nothing of it
const batches = new Map();
function batchOf(pin) {
  if (!pin) return '';
  if (!batches.has(pin)) batches.set(pin, newKey());
  return batches.get(pin);
}
async function seal(entry, pin) {
  if (!crypto.subtle)
    throw new Error('A PIN can be used only over https. See Help, “The tablet and its certificate”.');
  pinKey ??= (await snapshot())?.pin_key;
  if (!pinKey) throw new Error('This tablet has not met its server yet: open the page once with network.');
  const text = [entry.key, entry.kind, entry.person, entry.entered_at, entry.offset_ms, entry.body].join(
    '\n',
  );
  const sha256 = hex(await crypto.subtle.digest('SHA-256', utf8(text)));
  const spki = Uint8Array.from(atob(pinKey.spki), letter => letter.charCodeAt(0));
  const key = await crypto.subtle.importKey('spki', spki, { name: 'RSA-OAEP', hash: 'SHA-256' }, false, [
    'encrypt',
  ]);
  const closed = await crypto.subtle.encrypt(
    { name: 'RSA-OAEP' },
    key,
    utf8(JSON.stringify({ pin, sha256 })),
  );
  return btoa(String.fromCharCode(...new Uint8Array(closed)));
}

// ---- writing ----
// label: what it is, in words; shown: what a page shows of it meanwhile.  Returns its key once it is durable.
export async function put({ kind, person, body, pin = '', label, shown = null, key = newKey() }) {
  await remembered;
  const now = houseNow();
  const entry = {
    key,
    kind,
    person,
    body: JSON.stringify(body),
    seal: '',
    label,
    shown,
    state: 'waiting',
    needs: '',
    why: '',
    fields: null,
    unlikely: false,
    answer: null,
    seen: false,
    until: 0,
    entered_at: now.at,
    device_at: now.device_at,
    offset_ms: now.offset_ms,
  };
  if (pin) entry.seal = await seal(entry, pin);
  entry.batch = batchOf(pin);
  await within('entries', 'readwrite', store => store.add(entry));
  navigator.storage?.persist?.().catch(() => {});
  tell('changed');
  return key;
}
const again = { state: 'waiting', needs: '', why: '', fields: null, unlikely: false, until: 0 };
export async function mend(key, body, pin = '', person = null) {
  const entry = { ...(await one(key)), ...again, body: JSON.stringify(body) };
  entry.person = person ?? entry.person;
  entry.seal = pin ? await seal(entry, pin) : '';
  entry.batch = batchOf(pin);
  return change(key, entry);
}
// the PIN typed anew for all of a person's entries that wait for it
export async function retype(person, pin) {
  for (const entry of await list())
    if (entry.person === person && entry.state === 'waiting' && entry.needs)
      await change(entry.key, { ...again, seal: await seal(entry, pin), batch: batchOf(pin) });
}
// One that the server will not have as it is goes into the book in its own words, so that nothing is lost.
export async function intoNote(key, person, pin = '') {
  const entry = await one(key),
    body = JSON.parse(entry.body),
    why = Object.values(entry.fields ?? {}).join(' ');
  const begun = body.load?.key && (await one(body.load.key))?.answer?.load;
  const load = typeof body.load === 'number' ? body.load : (begun ?? null),
    lot = body.lot ?? null;
  const text =
    `Entered on the tablet and not taken: ${entry.label}${body.note ? `; ${body.note}` : ''}. The book said: ${why}`.slice(
      0,
      2000,
    );
  const noted = await put({
    kind: 'note',
    person,
    pin,
    label: `Note of: ${entry.label}`,
    body: { load, lot, text, observed_at: entry.entered_at },
  });
  await change(key, {
    state: 'stored',
    seen: true,
    sent_at: Date.now(),
    answer: { said: 'Set down as a note.', page: '', note: noted },
  });
  if (entry.kind === 'start')
    // what was to go into that load has none now
    for (const other of await list())
      if (other.state === 'waiting' && JSON.parse(other.body).load?.key === key)
        await change(other.key, {
          state: 'refused',
          fields: { '': 'The load that it belongs to was not begun.' },
        });
  return noted;
}

// a deviation, or an answer less favourable than what the tablet had said by itself
const unwelcome = ({ answer, shown }) =>
  (answer ?? shown)?.verdict === 'DEVIATION' || (answer?.verdict === 'ADJUST' && shown?.verdict === 'MET');

// ---- deviations stay until somebody has read them ----
export const unseen = async () => (await list()).filter(entry => !entry.seen && unwelcome(entry));
export const saw = key => change(key, { seen: true });

// ---- sending ----
let sending = null;
export function send() {
  sending ??= alone(sendAll)
    .catch(() => ({ sent: 0 }))
    .finally(() => {
      sending = null;
    });
  return sending;
}
const alone = work => (navigator.locks ? navigator.locks.request('beside-send', work) : work());

async function sendAll() {
  // one without a PIN of its own goes again once its person's pen is open
  const proved = entry => entry.needs !== 'pin' || (!entry.seal && pen?.open && pen.person === entry.person);
  const mine = entry => entry.state === 'waiting' && proved(entry);
  if (!(await list()).some(mine)) return { sent: 0 };
  const fresh = performance.now() - learntAt < FRESH;
  if (!fresh && !(await fetchData()).data) return { sent: 0 }; // a fresh token and the clock, or not now
  const tried = new Set(),
    barred = new Set();
  let sent = 0;
  for (;;) {
    const all = await list(),
      here = new Map(all.map(entry => [entry.key, entry]));
    const entry = all.find(
      one => mine(one) && !tried.has(one.key) && !barred.has(one.person) && one.until <= Date.now(),
    );
    if (!entry) break;
    tried.add(entry.key);
    const start = JSON.parse(entry.body).load?.key;
    if (start && here.has(start) && here.get(start).state !== 'stored') continue;
    const answer = await post(entry);
    if (answer === null) {
      learntAt = -Infinity;
      break;
    } // no network, session or token: all stays as it is
    if (answer.status === 200) {
      sent += 1;
      await taken(entry, answer.said);
    } else await notTaken(entry, answer, barred);
  }
  await sweep();
  tell('changed');
  return { sent };
}
const TAKEN_IN = [200, 400, 403, 409, 422, 429]; // anything else says nothing of the entry
async function post(entry) {
  const { key, kind, person, seal: closed, body, entered_at, device_at, offset_ms } = entry;
  try {
    const answer = await ask('/entries/', {
      method: 'POST',
      headers: { ...POLL, 'Content-Type': 'application/json', 'X-CSRFToken': csrf },
      body: JSON.stringify({
        key,
        kind,
        person,
        seal: closed,
        body,
        entered_at,
        device_at,
        offset_ms,
        sent_at: Date.now(),
      }),
    });
    return answer.said && TAKEN_IN.includes(answer.status) ? answer : null;
  } catch {
    return null;
  }
}
async function taken(entry, said) {
  if (!said.stored) return;
  await change(entry.key, { ...again, state: 'stored', seal: '', answer: said.answer, sent_at: Date.now() });
  tell('stored', { key: entry.key, answer: said.answer });
}
async function notTaken(entry, { status, said }, barred) {
  if (said.refused) {
    await change(entry.key, { state: 'refused', fields: said.refused, unlikely: said.unlikely });
    tell('refused', { key: entry.key, fields: said.refused, unlikely: said.unlikely });
    return;
  }
  if (status === 409) return; // its load has not come in: another tablet's, perhaps
  barred.add(entry.person); // others go on
  const wait = status === 429;
  if (said.needs === 'pin' && entry.batch) {
    // what was sealed with the same PIN would only be refused too
    for (const other of await list())
      if (other.batch === entry.batch && other.state === 'waiting')
        await change(other.key, { needs: 'pin', why: said.why });
  }
  const pause = wait ? Math.max(0, said.until - houseNow().at) : said.needs === 'right' ? RIGHT_AGAIN : 0;
  await change(entry.key, {
    needs: wait ? 'wait' : said.needs,
    why: said.why,
    until: pause && Date.now() + pause,
  });
  tell('needs', { key: entry.key, ...said });
}
async function sweep() {
  const unread = entry => !entry.seen && entry.answer?.verdict === 'DEVIATION';
  const old = (await list()).filter(
    entry => entry.state === 'stored' && !unread(entry) && Date.now() - (entry.sent_at ?? 0) > KEEP_SENT,
  );
  for (const entry of old) await within('entries', 'readwrite', store => store.delete(entry.id));
}
