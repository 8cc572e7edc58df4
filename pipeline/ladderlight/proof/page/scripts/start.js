desk.hidden = false;
bindControls(desk);
startParts();
startDistance();
startZoom();
startFlicker();
startDesk();
startPlay();
startSmall(startStrip(), startContact());
