# Times the workloads of models.py with R's package pls (PLS1, features scaled by
# their SD in each training part) and prints a JSON line each, as peerbench does.
#
#   Rscript models_r.R FOLDER WORKLOADS REPS WAY
#
# WAY "package": mvr and the package's own cross-validation. WAY "bare":
# kernelpls.fit(stripped = TRUE) in a plain loop over folds, the fastest use of the
# package that we know. OPENBLAS_NUM_THREADS sets the threads of its matrix library.
suppressMessages({library(pls); library(jsonlite)})
args <- commandArgs(TRUE)
folder <- args[1]; jobs <- strsplit(args[2], ",")[[1]]; reps <- as.integer(args[3]); package <- args[4] == "package"

figures <- function(set, file) {
  path <- file.path(folder, set, file)
  if (!file.exists(path)) return(NULL)
  columns <- length(strsplit(readLines(path, 1), ",")[[1]])
  matrix(scan(path, sep = ",", skip = 1, quiet = TRUE), ncol = columns, byrow = TRUE)
}

# fit scales, fits, and gives predictions of rows, a column a number of components.
fit <- function(x, y, a) {
  n <- nrow(x)
  centre <- colMeans(x)
  spread <- sqrt(colSums((x - rep(centre, each = n))^2) / (n - 1))
  f <- kernelpls.fit(x / rep(spread, each = n), y, a, stripped = TRUE)
  b <- matrix(f$coefficients, ncol(x), a)
  function(new) ((new - rep(centre, each = nrow(new))) / rep(spread, each = nrow(new))) %*% b + f$Ymeans
}

# press is the sum of squared errors by number of components over test sets.
press <- function(x, y, a, tests) {
  if (package) return(as.vector(pls:::mvrCv(x, y, a, method = "kernelpls", scale = TRUE, segments = tests)$PRESS))
  sum <- numeric(a)
  for (test in tests) {
    predict <- fit(x[-test, , drop = FALSE], y[-test, , drop = FALSE], a)
    sum <- sum + colSums((y[test, ] - predict(x[test, , drop = FALSE]))^2)
  }
  sum
}

tests <- function(of) unname(split(seq_along(of), of))

loaded <- list()
load <- function(set) {
  if (is.null(loaded[[set]])) {
    loaded[[set]] <<- list(x = figures(set, "X.csv"), y = figures(set, "y.csv"), folds = figures(set, "folds.csv"), orders = figures(set, "perms.csv"))
  }
  loaded[[set]]
}

run <- function(work, set) {
  d <- load(set)
  n <- nrow(d$x)
  a <- if (work == "W6") 20L else if (set == "S") 5L else 10L
  more <- list(); inner <- 1L
  first <- function() sqrt(press(d$x, d$y, a, tests(d$folds[, 1])) / n)
  go <- switch(work,
    W1 = {
      inner <- switch(set, S = 200L, M = 100L, C = 10L, 1L)
      function() {
        for (i in seq_len(inner)) {
          if (package) f <- mvr(d$y ~ d$x, a, method = "kernelpls", scale = TRUE) else predict <- fit(d$x, d$y, a)
        }
        fitted <- if (package) matrix(f$fitted.values, n, a) else predict(d$x)
        sqrt(colMeans((as.vector(d$y) - fitted)^2))
      }
    },
    W2 = function() {
      sum <- 0
      for (r in seq_len(ncol(d$folds))) sum <- sum + press(d$x, d$y, a, tests(d$folds[, r]))
      sqrt(sum / (n * ncol(d$folds)))
    },
    W3 = function() sqrt(press(d$x, d$y, a, as.list(seq_len(n))) / n),
    W4 = function() {
      sum <- 0; picks <- 0
      for (r in 1:5) for (test in tests(d$folds[, r])) {
        x <- d$x[-test, ]; y <- d$y[-test, , drop = FALSE]
        best <- which.min(press(x, y, a, tests(d$folds[-test, 10 + r])))
        picks <- picks + best
        sum <- sum + sum((d$y[test, ] - fit(x, y, best)(d$x[test, , drop = FALSE])[, best])^2)
      }
      more <<- list(picks_sum = picks)
      sqrt(sum / (5 * n))
    },
    W5 = function() {
      seen <- first()
      least <- apply(d$orders + 1, 1, function(order) sqrt(min(press(d$x, d$y[order, , drop = FALSE], a, tests(d$folds[, 1]))) / n))
      more <<- list(p_value = (1 + sum(least <= min(seen))) / (1 + length(least)), perm_min_rmsecv_mean = mean(least))
      seen
    },
    W6 = first)
  seconds <- numeric(reps)
  for (k in seq_len(reps)) {
    gc(FALSE)
    begin <- Sys.time()
    found <- go()
    seconds[k] <- as.numeric(difftime(Sys.time(), begin, units = "secs")) / inner
  }
  line <- c(list(tool = "R pls", variant = if (package) "package" else "bare", threads = Sys.getenv("OPENBLAS_NUM_THREADS"),
                 workload = work, dataset = set, seconds = median(seconds), all_seconds = I(seconds), rmsecv_by_component = I(found)), more)
  cat(toJSON(line, auto_unbox = TRUE, digits = NA), "\n", sep = "")
}

for (job in jobs) {
  part <- strsplit(job, ":")[[1]]
  run(part[1], part[2])
}
