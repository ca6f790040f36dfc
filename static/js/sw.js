// Keeps the opening page and what it is made of, so that it opens without network.  It never answers for
// entries or data: those go to the server or wait in the tablet's own store.
const NAME = 'smokehouse-/*version*/',
  FILES = [/*files*/],
  SHELL = '/',
  PATIENCE = 4000;
const AWAY = /*away*/ ''; // the page that stands instead of any other without network

self.addEventListener('install', event =>
  event.waitUntil(
    (async () => {
      const store = await caches.open(NAME);
      await Promise.all(
        FILES.map(async file => {
          const answer = await fetch(file); // the browser's own cache may answer: the page has just loaded them
          if (answer.ok && !answer.redirected) await store.put(file, answer);
        }),
      );
      await self.skipWaiting();
    })(),
  ),
);

self.addEventListener('activate', event =>
  event.waitUntil(
    (async () => {
      const shell = await held(SHELL);
      for (const name of await caches.keys())
        if (name.startsWith('smokehouse-') && name !== NAME) await caches.delete(name);
      if (shell) await (await caches.open(NAME)).put(SHELL, shell);
      await self.clients.claim();
    })(),
  ),
);

self.addEventListener('fetch', event => {
  const { request } = event,
    { origin, pathname } = new URL(request.url);
  if (request.method !== 'GET' || origin !== location.origin) return;
  if (request.mode === 'navigate') event.respondWith(page(event, pathname));
  else if (FILES.includes(pathname)) event.respondWith(file(event, pathname));
});

// the page itself hands over what it was loaded from before this worker stood
self.addEventListener('message', event => {
  if (event.data === 'keep the page')
    event.waitUntil(
      fetch(SHELL, { headers: { 'X-Beside': 'poll' } })
        .then(answer => keepShell(answer))
        .catch(() => {}),
    );
});

const held = async name => (await caches.match(name, { ignoreVary: true })) ?? null;

async function keepShell(answer) {
  if (answer.ok && !answer.redirected && answer.headers.get('X-Beside') === 'shift')
    await (await caches.open(NAME)).put(SHELL, answer.clone());
  return answer;
}

// The kept page says of itself that it is a kept one, so that its data is not taken for news.
async function marked(answer) {
  const text = await answer?.text();
  return text ? new Response(text.replace('<body', '<body data-kept'), { headers: answer.headers }) : null;
}

// From the network while it answers in time; what is kept otherwise.
async function page(event, pathname) {
  const shell = pathname === SHELL,
    fallback = shell ? await marked(await held(SHELL)) : null;
  const asked = fetch(event.request);
  const away = () => new Response(AWAY, { headers: { 'Content-Type': 'text/html; charset=utf-8' } });
  if (!shell) return asked.catch(away);
  const late = new Promise(done => setTimeout(() => done(null), fallback ? PATIENCE : 2 ** 30));
  const kept = asked.then(answer => (answer.type === 'basic' ? keepShell(answer) : answer));
  event.waitUntil(kept.catch(() => {}));
  const answer = await Promise.race([kept.catch(() => null), late]);
  const broken = !answer || answer.status >= 500; // a server that only says it is broken is no better than none
  return broken ? (fallback ?? answer ?? away()) : answer;
}
async function file(event, pathname) {
  return (await held(pathname)) ?? fetch(event.request);
}
