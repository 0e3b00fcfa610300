# A static program in an image that holds nothing else, run as a user without rights.
#
#   docker build -t denwright .
#   docker run -p 127.0.0.1:8080:8080 -v denwright:/data denwright
#
# Both images can be replaced where no image registry is reached:
#   docker build --build-arg BUILD_IMAGE=my-go --build-arg BASE_IMAGE=my-base -t denwright .
# BUILD_IMAGE needs go on its path and no shell. BASE_IMAGE may be anything.
ARG BUILD_IMAGE=golang:1.26
ARG BASE_IMAGE=scratch

FROM ${BUILD_IMAGE} AS build
LABEL denwright.stage=build
# Where modules come from, if not from where the image says. A vendor folder needs none.
ARG GOPROXY
ARG GOFLAGS
ENV CGO_ENABLED=0
# WORKDIR makes a folder without a shell: for the compiler, and for the data.
WORKDIR /tmp
WORKDIR /out/data
WORKDIR /src
COPY . .
RUN ["go", "build", "-buildvcs=false", "-trimpath", "-ldflags=-s -w", "-o", "/out/denwright", "./cmd/denwright"]

FROM ${BASE_IMAGE}
COPY --from=build /out/denwright /denwright
COPY --from=build --chown=65532:65532 /out/data /data
USER 65532:65532
# The SQLite file lies here, unless DENWRIGHT_DATABASE_URL names another database.
ENV XDG_DATA_HOME=/data
VOLUME /data
EXPOSE 8080
ENTRYPOINT ["/denwright"]
CMD ["serve", "--address", "0.0.0.0:8080"]
