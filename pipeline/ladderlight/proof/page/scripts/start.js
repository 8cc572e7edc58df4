
startMarks();
startPixel();
startPalette();
