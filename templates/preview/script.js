"use strict";
// Asks for news and shows it; without this script the page is as it was when it was loaded.
const body = document.body;

async function refresh(version) {
  const answer = await fetch("/problems");
  if (!answer.ok) return;
  document.getElementById("problems").innerHTML = await answer.text();
  const whole = new DOMParser().parseFromString(await (await fetch("/")).text(), "text/html");
  document.getElementById("files").replaceWith(whole.getElementById("files"));
  document.getElementById("advisory").contentWindow.location.reload();
  body.dataset.version = version;
}

async function listen() {
  for (;;) {
    try {
      const answer = await fetch("/news?after=" + encodeURIComponent(body.dataset.version));
      if (!answer.ok) throw new Error(answer.status);
      const news = await answer.json();
      if (String(news.version) !== body.dataset.version) await refresh(news.version);
      body.classList.remove("lost");
    } catch {
      body.classList.add("lost");
      await new Promise((done) => setTimeout(done, 2000));
    }
  }
}

if (body.classList.contains("live")) listen();

// A problem leads to its box: open the fold it is in.
const wanted = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
if (wanted) {
  const fold = wanted.closest("details");
  if (fold) fold.open = true;
  wanted.focus();
}
