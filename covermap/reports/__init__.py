"""reports: the pages people read and print, one package a kind. They word a result and decide nothing."""
