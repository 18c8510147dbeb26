"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const data = JSON.parse(byId("motion-data").textContent);
  const list = byId("listing");
  const slider = byId("slider");
  const lastKey = data.s.length - 1;
  const lastBlock = data.after.length - 1;
  const total = data.s[lastKey];
  const [unitZ, unitX, places] = data.unit;

  let time = 0;
  let block = 0;
  let running = false;
  let before = 0;
  let marked = null;

  /* The last place i with read(i) <= value; 0 where there is none. */
  function lastNotAbove(count, read, value) {
    let lo = 0;
    let hi = count - 1;
    while (lo < hi) {
      const middle = (lo + hi + 1) >> 1;
      if (read(middle) <= value) lo = middle;
      else hi = middle - 1;
    }
    return lo;
  }

  const keyAt = (seconds) => lastNotAbove(lastKey + 1, (i) => data.s[i], seconds);

  /* The block that runs at a time: the first that is not over by then. */
  function blockAt(seconds) {
    let lo = 0;
    let hi = lastBlock;
    while (lo < hi) {
      const middle = (lo + hi) >> 1;
      if (data.s[data.after[middle]] > seconds) hi = middle;
      else lo = middle + 1;
    }
    return lo;
  }

  function move(name, along, across) {
    const [x0, kx, y0, ky, least, most] = data.views[name];
    const y = y0 + ky * Math.min(Math.max(across, least), most);
    byId("moving-" + name).setAttribute("transform", `translate(${x0 + kx * along} ${y})`);
  }

  function show(key, share) {
    const next = Math.min(key + 1, lastKey);
    const mix = (row) => row[key] + (row[next] - row[key]) * share;
    const x = mix(data.x);
    const z = mix(data.z);
    const depth = mix(data.c);
    const left = z - data.left;
    const moved = data.after[block] > (block > 0 ? data.after[block - 1] : 0);
    move("side", left, data.blank - (data.stiff ? mix(data.stiff) : depth));
    move("infeed", left, depth);
    move("end", x / 2 + data.centre, 0);
    byId("at-x").textContent = (x / unitX).toFixed(places);
    byId("at-z").textContent = (z / unitZ).toFixed(places);
    byId("at-depth").textContent = depth > 0 && left < 0 ? (depth / unitZ).toFixed(places) : "clear";
    byId("at-time").textContent = time.toFixed(1);
    const stage = byId("stage");
    stage.dataset.seconds = time;
    stage.dataset.x = x;
    stage.dataset.z = z;
    stage.dataset.depth = depth;
    stage.dataset.block = block;
    slider.value = total > 0 ? (1000 * time) / total : 0;
    slider.setAttribute("aria-valuetext", `${time.toFixed(1)} seconds`);
    const phase = data.phases[data.p[share > 0 ? next : key]];
    byId("at-phase").textContent = moved ? phase[1] : "no motion";
    byId("at-phase-line").setAttribute("class", moved ? "way " + phase[0] : "none");
    byId("at-state").textContent = data.states[data.state[block]];
    mark();
  }

  function mark() {
    const option = byId("b" + block);
    if (option === marked) return;
    if (marked) marked.removeAttribute("aria-selected");
    marked = option;
    option.setAttribute("aria-selected", "true");
    list.setAttribute("aria-activedescendant", option.id);
    byId("at-block").textContent = option.textContent;
    /* Rows out of sight are not laid out: their height is the list's line height. */
    const row = parseFloat(getComputedStyle(list).lineHeight);
    const top = block * row;
    if (top < list.scrollTop || top + 2 * row > list.scrollTop + list.clientHeight) {
      list.scrollTop = top - list.clientHeight / 3;
    }
  }

  function goToTime(seconds) {
    time = Math.min(Math.max(seconds, 0), total);
    block = blockAt(time);
    const key = keyAt(time);
    const next = Math.min(key + 1, lastKey);
    const span = data.s[next] - data.s[key];
    show(key, span > 0 ? (time - data.s[key]) / span : 0);
  }

  /* Where a block leaves the slide, as in single block. */
  function goToBlock(number) {
    halt();
    block = Math.min(Math.max(number, 0), lastBlock);
    time = data.s[data.after[block]];
    say("");
    show(data.after[block], 0);
  }

  function say(text) {
    byId("said").textContent = text;
  }

  function halt() {
    running = false;
    byId("play").textContent = "Play";
  }

  function play() {
    if (running) return halt();
    if (time >= total && block === lastBlock) goToBlock(0);
    running = true;
    before = performance.now();
    say("");
    byId("play").textContent = "Pause";
    requestAnimationFrame(frame);
  }

  function frame(now) {
    if (!running) return;
    const step = (Math.max(now - before, 0) / 1000) * Number(byId("rate").value);
    before = now;
    const wanted = Math.min(time + step, total);
    const stop = data.halts.find(([at, seconds]) => at > block && seconds <= wanted);
    if (stop) {
      goToBlock(stop[0]);
      say(stop[2] ? "Optional stop: the program waits here if its switch is on." : "Stop: the program waits here.");
      return;
    }
    goToTime(wanted);
    if (wanted >= total) {
      goToBlock(lastBlock);
      say("End of the program.");
      return;
    }
    requestAnimationFrame(frame);
  }

  byId("play").addEventListener("click", play);
  byId("back").addEventListener("click", () => goToBlock(block - 1));
  byId("on").addEventListener("click", () => goToBlock(block + 1));
  slider.addEventListener("input", () => {
    halt();
    say("");
    goToTime((slider.value / 1000) * total);
  });
  document.addEventListener("click", (event) => {
    // A block that is clicked shows where it leaves the roll, as running it alone would.
    const option = event.target.closest("[role=option]");
    const button = event.target.closest("button[data-block]");
    if (option) goToBlock(Number(option.id.slice(1)));
    if (button) {
      goToBlock(Number(button.dataset.block));
      byId("stage").scrollIntoView();
    }
  });
  document.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    if (event.target.closest("select, .scroll")) return;
    const inList = event.target === list;
    const keys = {
      ArrowLeft: () => goToBlock(block - 1),
      ArrowRight: () => goToBlock(block + 1),
      Home: () => goToBlock(0),
      End: () => goToBlock(lastBlock),
    };
    if (inList) {
      keys.ArrowUp = keys.ArrowLeft;
      keys.ArrowDown = keys.ArrowRight;
      keys.PageUp = () => goToBlock(block - 10);
      keys.PageDown = () => goToBlock(block + 10);
    }
    if (!event.target.closest("button")) keys[" "] = play;
    if (!keys[event.key]) return;
    event.preventDefault();
    keys[event.key]();
  });

  byId("total").textContent = total.toFixed(1);
  document.documentElement.classList.add("live");
  goToBlock(0);
})();
