(() => {
	const bad = [];
	const luminance = rgb => rgb.map(c => c / 255).map(c => c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4)
		.reduce((sum, c, i) => sum + c * [0.2126, 0.7152, 0.0722][i], 0);
	const channels = colour => (colour.match(/[\d.]+/g) || []).map(Number);
	// under is the fill of the last rectangle that is drawn below a text beside it.
	const under = e => {
		const box = e.getBoundingClientRect(), x = box.x + box.width / 2, y = box.y + box.height / 2;
		let fill = [];
		for (const r of e.parentElement.children) {
			if (r === e) break;
			const b = r.getBoundingClientRect(), style = getComputedStyle(r);
			if (r.tagName != "rect" || style.fillOpacity < 1 || x < b.left || x > b.right || y < b.top || y > b.bottom) continue;
			if (channels(style.fill).length == 3) fill = channels(style.fill);
		}
		return fill;
	};
	const paper = e => {
		if (e instanceof SVGElement && under(e).length == 3) return under(e);
		for (; e; e = e.parentElement) {
			const c = e instanceof SVGElement ? [] : channels(getComputedStyle(e).backgroundColor);
			if (c.length == 3) return c;
		}
		return [255, 255, 255];
	};
	const right = document.documentElement.clientWidth + 1;
	for (const e of document.querySelectorAll("body *")) {
		const box = e.getBoundingClientRect();
		if (!box.width || !box.height) continue;
		if (box.right > right && !e.closest(".wide")) bad.push("too wide: " + e.tagName + " " + e.textContent.slice(0, 40));
		const own = [...e.childNodes].some(n => n.nodeType == Node.TEXT_NODE && n.data.trim());
		if (!own || e.tagName == "STYLE" || e.tagName == "title" || e.tagName == "desc") continue;
		const style = getComputedStyle(e);
		const [a, b] = [luminance(channels(e instanceof SVGElement ? style.fill : style.color)), luminance(paper(e))];
		const contrast = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (contrast < 4.5) bad.push("contrast " + contrast.toFixed(1) + ": " + e.textContent.slice(0, 40));
	}
	return bad;
})()
