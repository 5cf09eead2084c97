# Reference values for the CR2 variance and its degrees of freedom, from R's clubSandwich (and nlme for the mixed model).
# Rscript clubsandwich.R SEED > clubsandwich.json
suppressWarnings(suppressMessages({library(nlme); library(clubSandwich); library(jsonlite)}))
set.seed(as.integer(commandArgs(TRUE)[1]))

course <- function() {
  # 40 patients, up to four occasions, two groups, a quarter of the later answers missing
  n <- 40
  d <- expand.grid(occasion = 0:3, patient = 1:n)
  group <- rbinom(n, 1, 0.4)
  d$group <- group[d$patient]
  d$score <- 60 + 3 * d$occasion + 4 * d$group * (d$occasion > 0) + rnorm(n, 0, 9)[d$patient] + rnorm(nrow(d), 0, 6)
  d <- d[d$occasion == 0 | runif(nrow(d)) > 0.25, ]
  d$cell <- factor(ifelse(d$occasion == 0, "0", paste(d$occasion, d$group)))
  fit <- lme(score ~ 0 + cell, random = ~ 1 | patient, data = d, control = lmeControl(tolerance = 1e-10, msTol = 1e-12))
  test <- coef_test(fit, vcov = "CR2", cluster = d$patient, test = "Satterthwaite")
  one <- matrix(0, 2, length(fixef(fit)), dimnames = list(NULL, names(fixef(fit))))
  one[1, c("cell3 0", "cell0")] <- c(1, -1)
  one[2, c("cell3 1", "cell3 0")] <- c(1, -1)
  change <- linear_contrast(fit, vcov = "CR2", contrasts = one, cluster = d$patient)
  variances <- as.numeric(VarCorr(fit)[, 1])
  list(patient = d$patient, occasion = d$occasion, group = d$group, score = d$score, cell = sub("cell", "", names(fixef(fit))),
       between = variances[1], within = variances[2], estimate = as.numeric(fixef(fit)), se = test$SE, df = test$df,
       contrast = c("3 0 less 0", "3 1 less 3 0"), contrast_estimate = change$Est, contrast_se = change$SE, contrast_df = change$df)
}

sets <- function() {
  # 25 matched sets of one to three controls, patients standing in several sets, weighted
  rows <- do.call(rbind, lapply(1:25, function(s) {
    k <- sample(1:3, 1)
    data.frame(set = s, patient = c(100 + s, sample(1:20, k)), stepped = c(1, rep(0, k)))
  }))
  rows$now <- 60 + rnorm(25, 0, 8)[rows$set] + rnorm(nrow(rows), 0, 2)
  rows$later <- 30 + 0.6 * rows$now + 2 * rows$stepped + rnorm(nrow(rows), 0, 8)
  rows$weight <- ifelse(rows$stepped == 1, 1, round(runif(nrow(rows), 0.8, 2), 3))
  fit <- lm(later ~ stepped + now + factor(set), data = rows, weights = weight)
  v <- vcovCR(fit, cluster = rows$patient, type = "CR2", inverse_var = TRUE)
  test <- coef_test(fit, vcov = v, test = "Satterthwaite")
  at <- which(rownames(test) == "stepped" | test$Coef == "stepped")[1]
  c(as.list(rows), list(estimate = coef(fit)[["stepped"]], se = test$SE[at], df = test$df[at]))
}

out <- list(made_with = list(R = as.character(getRversion()), clubSandwich = as.character(packageVersion("clubSandwich")), nlme = as.character(packageVersion("nlme"))),
            course = course(), sets = sets())
cat(toJSON(out, digits = NA, auto_unbox = TRUE), "\n")
