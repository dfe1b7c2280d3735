'use strict';
// Adds to pages that work without it: a large button to play each phrase, keys to go
// through the queue and the time line, and the mark of where the sound is.

(() => {
  document.documentElement.classList.add('script');

  // Sound. The player of the browser stays, out of sight, and is what plays.
  const shapes = { play: 'M7 4v16l13-8z', stop: 'M6 5h4v14H6zM14 5h4v14h-4z' };
  const picture = () => {
    const svg = document.createElementNS('http://www.w3.org/2000/svg', 'svg');
    svg.setAttribute('viewBox', '0 0 24 24');
    svg.setAttribute('aria-hidden', 'true');
    const path = document.createElementNS('http://www.w3.org/2000/svg', 'path');
    path.setAttribute('d', shapes.play);
    svg.append(path);
    return svg;
  };
  const ready = (box) => {
    const sound = box.querySelector('audio');
    const button = document.createElement('button');
    button.type = 'button';
    button.className = 'play-button';
    button.dataset.playButton = '';
    button.setAttribute('aria-pressed', 'false');
    button.setAttribute('aria-label', 'Play: ' + (sound.getAttribute('aria-label') || 'phrase'));
    button.append(picture());
    box.prepend(button);
    box.classList.add('ready');
    sound.controls = false;
    const at = box.querySelector('.wave-at');
    const show = (on) => {
      button.setAttribute('aria-pressed', String(on));
      button.querySelector('path').setAttribute('d', on ? shapes.stop : shapes.play);
    };
    const move = () => {
      if (at && sound.duration) at.setAttribute('width', 320 * sound.currentTime / sound.duration);
    };
    button.addEventListener('click', () => {
      if (!sound.paused) { sound.pause(); return; }
      for (const other of document.querySelectorAll('audio')) if (other !== sound) other.pause();
      if (sound.ended || sound.currentTime >= (sound.duration || Infinity)) sound.currentTime = 0;
      sound.play().catch(() => {});
    });
    sound.addEventListener('play', () => show(true));
    sound.addEventListener('pause', () => show(false));
    sound.addEventListener('ended', () => { show(false); move(); });
    sound.addEventListener('timeupdate', move);
    sound.addEventListener('error', () => {
      show(false);
      if (box.querySelector('.play-note')) return;
      const note = document.createElement('p');
      note.className = 'note bad play-note';
      note.setAttribute('role', 'status');
      note.textContent = 'This sound cannot be played: it is damaged, or the server was stopped. What was heard is kept in words.';
      box.append(note);
    });
  };
  document.querySelectorAll('[data-play]').forEach(ready);

  // Keys. They do nothing while somebody writes, and nothing with a modifier held.
  const items = [...document.querySelectorAll('[data-item]')];
  const current = () => items.find((i) => i.contains(document.activeElement)) || items.find((i) => i.hasAttribute('data-current'));
  const go = (step) => {
    const link = document.querySelector(`a[data-key="${step > 0 ? 'j' : 'k'}"]`);
    if (link) { link.click(); return true; }
    const at = items.indexOf(current());
    const next = items[at < 0 ? (step > 0 ? 0 : items.length - 1) : at + step];
    if (!next) return false;
    next.focus({ preventScroll: true });
    next.scrollIntoView({ block: 'nearest' });
    return true;
  };
  const writes = (e) => e.matches('input, select, textarea, [contenteditable]');
  document.addEventListener('keydown', (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey || e.defaultPrevented) return;
    const where = document.activeElement || document.body;
    if (e.key === 'Escape') {
      const form = where.closest('details.action[open]');
      if (form) { form.open = false; form.querySelector('summary').focus(); e.preventDefault(); }
      return;
    }
    if (writes(where)) return;
    let done = false;
    switch (e.key) {
      case 'j': done = go(1); break;
      case 'k': done = go(-1); break;
      case 'n': case 'p': {
        const link = document.querySelector(`a[data-key="${e.key}"]`);
        if (link) { link.click(); done = true; }
        break;
      }
      case ' ': {
        if (where.matches('button, a, summary, audio')) return;
        const button = (current() || document).querySelector('[data-play-button]');
        if (button) { button.click(); done = true; }
        break;
      }
      case 's': case 'c': case 'w': {
        const form = document.querySelector(`details[data-action="${e.key}"]`);
        if (form) {
          document.querySelectorAll('details.action[open]').forEach((d) => { d.open = false; });
          form.open = true;
          const field = form.querySelector('input:not([type=hidden]), select');
          if (field) field.focus();
          done = true;
        }
        break;
      }
    }
    if (done) e.preventDefault();
  });

  // Setting up: what is written is kept and judged by the server a moment later, and the
  // answer stands at the fields. Without this, Save does the same.
  const editor = document.querySelector('[data-editor]');
  if (editor) {
    const status = editor.querySelector('[data-status]');
    const version = editor.querySelector('[name="version"]');
    let timer = 0, busy = false, again = false, stopped = false;
    const tell = (text) => { status.textContent = text; };
    const show = (answer) => {
      for (const place of editor.querySelectorAll('[data-wrong]')) {
        const text = answer.at[place.dataset.wrong] || '';
        const field = document.getElementById(place.dataset.wrong);
        if (place.textContent !== text) place.textContent = text;
        if (!field || !field.matches('input, select')) continue;
        if (text) field.setAttribute('aria-invalid', 'true'); else field.removeAttribute('aria-invalid');
        field.parentElement.classList.toggle('bad', text !== '');
      }
      tell(answer.status);
    };
    const send = async () => {
      if (stopped) return;
      if (busy) { again = true; return; }
      busy = true;
      try {
        const body = new URLSearchParams(new FormData(editor));
        body.set('do', 'save');
        const reply = await fetch(editor.action, { method: 'POST', body, headers: { Accept: 'application/json' } });
        if (!reply.ok) throw new Error(String(reply.status));
        const answer = await reply.json();
        if (answer.stale) {
          stopped = true;
          tell('This was changed on another page meanwhile. Nothing more is kept here by itself; press Save to choose.');
        } else {
          version.value = answer.version;
          editor.querySelector('[value="undo"]').disabled = false;
          if (!again) show(answer);
          if (answer.failed) tell(answer.failed);
        }
      } catch {
        tell('Not kept: no connection to waycall, or the draft is gone. What you wrote is still on this page; press Save when waycall review runs again.');
      }
      busy = false;
      if (again) { again = false; send(); }
    };
    editor.addEventListener('input', () => { clearTimeout(timer); timer = setTimeout(send, 300); });
    editor.addEventListener('submit', (e) => {
      const sure = e.submitter && e.submitter.dataset.sure;
      if (sure && !window.confirm(sure)) { e.preventDefault(); return; }
      clearTimeout(timer);
      stopped = true;
    });
    // Where a page begins at a way, the first field of it is where one writes on.
    const at = location.hash && document.getElementById(decodeURIComponent(location.hash.slice(1)));
    const first = at && at.querySelector('input[list="l-circuits"], input');
    if (first) first.focus();
  }
  // A file of a table goes into the field that it would be pasted into.
  const table = document.querySelector('[data-table]');
  if (table) {
    const field = table.querySelector('textarea');
    const box = document.createElement('p');
    box.className = 'field';
    box.innerHTML = '<label for="file">Or a file (.csv, .yaml)</label>';
    const file = document.createElement('input');
    file.type = 'file';
    file.id = 'file';
    file.accept = '.csv,.tsv,.txt,.yaml,.yml';
    box.append(file);
    field.parentElement.after(box);
    const large = () => { field.setCustomValidity(field.value.length > 1 << 20 ? 'This is more than 1 MiB. Paste the rows of one board.' : ''); };
    field.addEventListener('input', large);
    file.addEventListener('change', async () => {
      const one = file.files[0];
      if (!one) return;
      if (one.size > 1 << 20) { file.setCustomValidity('This file is larger than 1 MiB. Save the rows of one board by themselves.'); file.reportValidity(); file.value = ''; return; }
      file.setCustomValidity('');
      field.value = await one.text();
      large();
    });
  }

  // A form that has something wrong is where the work is.
  const wrong = document.querySelector('[role="alert"]');
  if (wrong) { wrong.tabIndex = -1; wrong.focus(); }
})();
